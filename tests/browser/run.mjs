// run.mjs: runs the browser tests against TIPPLANE_URL; its last line counts them.
//   TIPPLANE_URL=http://127.0.0.1:8080 node tests/browser/run.mjs
//   TIPPLANE_RESTART=COMMAND also restarts the daemon; TIPPLANE_SCREENSHOT=1 also writes docs/images/page.png
import { spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";

if (!process.env.TIPPLANE_URL) {
        console.error("TIPPLANE_URL is not set; give the address of a running tipplaned with a measured wafer, such as http://127.0.0.1:8080");
        process.exit(2);
}
const child = spawn(process.execPath, ["--test", ...process.argv.slice(2), "--test-reporter=tap", fileURLToPath(new URL("page.test.mjs", import.meta.url))], { stdio: ["ignore", "pipe", "inherit"] });
let passed = 0, failed = 0, skipped = 0;
createInterface({ input: child.stdout }).on("line", (line) => {
        const result = /^\s*(not ok|ok) \d+ - (.*?)(\s# SKIP.*)?$/.exec(line);
        if (!result) {
                if (!/^\s*(---|\.\.\.|duration_ms|type:|TAP version|1\.\.|# )/.test(line))
                        console.log(line);
                return;
        }
        if (/\.mjs$/.test(result[2]))
                return; // the file itself, counted by its tests
        if (result[3])
                skipped++;
        else if (result[1] === "ok")
                passed++;
        else
                failed++;
        console.log(`${result[3] ? "skipped" : result[1] === "ok" ? "passed" : "FAILED"}: ${result[2]}${result[3] ?? ""}`);
});
child.on("close", (code) => {
        if (code && !failed)
                failed++; // it died before it could say so
        console.log(`${passed} passed, ${failed} failed, ${skipped} skipped`);
        process.exit(failed || !passed ? 1 : 0);
});
