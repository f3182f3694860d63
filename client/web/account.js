/* account.js: what the night cost and where its files are. */
import { address } from "./api.js";
import { clock, count, h, span } from "./dom.js";

/** What taking the offer would change, and why. @param {import("./api.js").Offer} o @param {string} run */
const offerParts = (o, run) => [`${count(o.values, "value", "values")} of ${o.devices} of ${count(o.suspects, "suspect", "suspects")} could be corrected between two calibrations; offered ${clock(o.offered)}, not granted by the mandate. `,
        ...(o.spec?.intervals ?? []).map((i) => i.why_not ? `Interval ${i.interval}, not: ${i.why_not}. ` : `Interval ${i.interval}, between calibrations ${i.before} and ${i.after}: ${i.sentence}. `),
        h("a", { href: address.rescue(run) }, "Take it, CSV")];

/** @param {HTMLElement} box @param {import("./api.js").Run} run @param {import("./api.js").Alarm[]} alarms @param {import("./api.js").Offer|null} offer */
export function drawAccount(box, run, alarms, offer) {
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
                h("dl", {}, ...rows.flatMap(([what, words]) => [h("dt", {}, what), h("dd", {}, words)]),
                        ...(offer ? [h("dt", {}, "Offered"), h("dd", { class: "offer" }, ...offerParts(offer, run.id))] : [])),
                h("p", { class: "links" }, h("a", { href: address.parameters(run.id) }, "All values, CSV"), " ", h("a", { href: address.file(run.id) }, "Run file, SQLite"), " ",
                        run.file_sha256 ? h("span", { class: "quiet digest" }, `sealed, SHA-256 ${run.file_sha256.slice(0, 16)}…`) : h("span", { class: "quiet" }, "not sealed yet")));
}
