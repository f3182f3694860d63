/* account.js: what the night cost and where its files are. */
import { address } from "./api.js";
import { count, h, span } from "./dom.js";

/** @param {HTMLElement} box @param {import("./api.js").Run} run @param {import("./api.js").Alarm[]} alarms */
export function drawAccount(box, run, alarms) {
        const p = run.progress, c = p?.counts ?? {};
        const n = (/** @type {string} */ name) => c[name] ?? 0;
        const rows = p?.counts ? /** @type {[string, string][]} */ ([
                ["Devices", `${n("measured") + n("doubtful")} of ${n("devices")} measured, ${n("proven")} proven, ${n("open")} open, ${n("suspect")} suspect, ${n("rescued") ? `${n("rescued")} rescued, ` : ""}${n("no_contact")} without contact, ${n("skipped")} skipped, ${n("written_off")} written off`],
                ["Verdicts", `${n("pass")} pass, ${n("marginal")} marginal, ${n("fail")} fail`],
                ["Touches", `${n("touches_good")} good, ${n("touches_doubtful")} doubtful, ${n("touches_absent")} absent, ${n("touches_cut")} cut short, ${count(n("retouches"), "device", "devices")} touched again`],
                ["Checks", `${n("checks")}, ${n("checks_failed") ? `${n("checks_failed")} failed` : "none failed"}; ${count(n("recalibrations"), "recalibration", "recalibrations")}, ${count(n("interventions"), "intervention", "interventions")}`],
                ["Time", `${span(p.station_seconds ?? 0)} of station time, ${span(p.seconds_planned ?? 0)} planned; instruments waited ${(p.waited_seconds ?? 0).toFixed(1)} s for the daemon`],
                ["Restarts", `${count(n("daemon_starts"), "time", "times")} the daemon, ${count(n("station_deaths"), "time", "times")} the station`],
        ]) : [];
        box.replaceChildren(
                ...alarms.map((a) => h("p", { class: "alarm" }, h("strong", {}, a.sentence), a.action ? ` ${a.action}` : "")),
                p?.why_refused ? h("p", {}, `The last request was refused: ${p.why_refused}`) : "",
                h("dl", {}, ...rows.flatMap(([what, words]) => [h("dt", {}, what), h("dd", {}, words)])),
                h("p", { class: "links" }, h("a", { href: address.parameters(run.id) }, "All values, CSV"), " ", h("a", { href: address.file(run.id) }, "Run file, SQLite"), " ",
                        run.file_sha256 ? h("span", { class: "quiet digest" }, `sealed, SHA-256 ${run.file_sha256.slice(0, 16)}…`) : h("span", { class: "quiet" }, "not sealed yet")));
}
