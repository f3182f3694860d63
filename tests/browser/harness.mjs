// harness.mjs: one Chromium, pages on the daemon under test, and a link between both that a test can cut.
import http from "node:http";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createRequire } from "node:module";

const require = createRequire(new URL("../../client/web/package.json", import.meta.url));
const { chromium } = require("playwright-core");
const AXE = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

export const BASE = (process.env.TIPPLANE_URL ?? "").replace(/\/+$/, "");
const ARGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

/** A browser with a fresh profile; `open` gives a page and the list of what went wrong on it. */
export async function startBrowser() {
        const profile = mkdtempSync(join(tmpdir(), "tipplane-browser-"));
        const launch = (options) => chromium.launchPersistentContext(mkdtempSync(join(profile, "p")), { executablePath: "/usr/bin/chromium", args: ARGS, ...options });
        return {
                async open(url, options = {}) {
                        const context = await launch({ viewport: { width: 1440, height: 1300 }, ...options });
                        const page = context.pages()[0] ?? await context.newPage();
                        const wrong = [];
                        page.on("pageerror", (e) => wrong.push(`error: ${e.message}`));
                        page.on("console", (m) => { if (m.type() === "error" && !/Failed to load resource|ERR_/.test(m.text())) wrong.push(`console: ${m.text()}`); });
                        if (options.before)
                                await options.before(page);
                        await page.goto(url);
                        return { page, wrong, close: () => context.close() };
                },
                stop: () => rmSync(profile, { recursive: true, force: true, maxRetries: 5 }),
        };
}

/** The newest run with a map, from the daemon itself. */
export async function newestRun() {
        const { runs } = await (await fetch(`${BASE}/api/v1/runs?limit=20`)).json();
        for (const run of runs) {
                const map = await (await fetch(`${BASE}/api/v1/runs/${run.id}/map`)).json();
                if (map.dies?.some((d) => d.devices.some((one) => one.sweep)))
                        return { run, map };
        }
        throw new Error(`${BASE} has no run with a measured die; start one first (make demo does)`);
}

export const settled = (page) => page.waitForFunction(() => document.querySelectorAll(".die").length > 0 && document.querySelector("#link")?.textContent === "live");

/** Violations of WCAG 2.0 to 2.2, A and AA, each as one line. */
export async function violations(page) {
        await page.evaluate(AXE);
        const result = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
        return result.violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.target.join(" ")}: ${n.failureSummary?.replace(/\s+/g, " ")}`));
}

/** A link to the daemon that can be cut and mended, and that can speak as the event stream itself. */
export async function makeLink() {
        const target = new URL(BASE);
        const sockets = new Set(), streams = new Set(), asked = [];
        let speaks = false;
        const server = http.createServer((q, r) => {
                if (speaks && q.url.startsWith("/api/v1/events")) {
                        r.writeHead(200, { "content-type": "text/event-stream" });
                        r.write("retry: 2000\n\nevent: hello\nid: 1.1\ndata: {}\n\n");
                        streams.add(r);
                        r.on("close", () => streams.delete(r));
                        return;
                }
                if (q.url.startsWith("/api/v1/events"))
                        asked.push({ url: q.url, last: q.headers["last-event-id"] ?? "" });
                const on = http.request({ host: target.hostname, port: target.port, path: q.url, method: q.method, headers: { ...q.headers, host: target.host } }, (answer) => {
                        r.writeHead(answer.statusCode ?? 502, answer.headers);
                        answer.pipe(r);
                });
                on.on("error", () => r.destroy());
                r.on("close", () => on.destroy());
                q.pipe(on);
        });
        server.on("connection", (socket) => { sockets.add(socket); socket.on("close", () => sockets.delete(socket)); });
        const listen = (port) => new Promise((done, fail) => { server.once("error", fail); server.listen(port, "127.0.0.1", () => done(server.address().port)); });
        const port = await listen(0);
        return {
                url: `http://127.0.0.1:${port}`, asked,
                cut: () => new Promise((done) => { server.close(done); sockets.forEach((s) => s.destroy()); }),
                mend: () => listen(port),
                speak: () => { speaks = true; },
                say: (text) => streams.forEach((r) => r.write(text)),
                listeners: () => streams.size,
        };
}
