/* device.js: the picked die and device: curve, values with uncertainty, contact story, and the chain from raw to value, each step openable. */
import { address } from "./api.js";
import { makeCurve, sightsFor, SIGHTS } from "./curve.js";
import { h, quantity, say, span, withU95 } from "./dom.js";
import { markOf } from "./face.js";
import { littleDie } from "./legend.js";
import { drawSmith } from "./smith.js";
import { DEVICE_KIND, OUTCOME, TRUST, VERDICT } from "./words.js";

/** @typedef {import("./api.js").Network} Network */
/** @typedef {import("./api.js").Touchdown} Touchdown */
/** @typedef {import("./api.js").Parameter} Parameter */
/**
 * @typedef {{run: string, die: import("./api.js").MapDie, device: string, plan: import("./api.js").Device|undefined, parameters: Parameter[], touchdowns: Touchdown[], z_ohm: number|null}} DeviceView
 * @typedef {{onDevice: (name: string) => void, onSight: (sight: string) => void}} DeviceActions
 */

const OPEN_OHM = 1e9; // a meter that reads more than this reads nothing

const ohms = (/** @type {number[]|undefined} */ list) => (list ?? []).filter((r) => r >= 0).map((r) => r > OPEN_OHM ? "open" : quantity(r, "ohm", 3)).join(", ") || "not read";
const limitWords = (/** @type {import("./api.js").ParameterPlan|undefined} */ p) => !p || (p.low === null && p.high === null) ? ""
        : p.low === null ? `at most ${quantity(p.high, p.unit)}` : p.high === null ? `at least ${quantity(p.low, p.unit)}` : `${quantity(p.low, p.unit)} to ${quantity(p.high, p.unit)}`;
/** The three largest causes; how much of it this die's touches, its readings and what all dies share come to; what the recipe does not state.
 * @param {import("./api.js").Budget|null} b */
function budgetWords(b) {
        if (!b || !Object.keys(b).length)
                return "";
        const shares = b.scopes ? { ...b.touch, ...b.reading, ...b.shared } : b; // before causes had scopes: cause and share, null where it is not counted
        const causes = Object.entries(shares).filter(([, share]) => share !== null).sort((x, y) => Number(y[1]) - Number(x[1])).slice(0, 3).map(([cause, share]) => `${cause} ${Math.round(Number(share))} %`).join(", ");
        if (!b.scopes)
                return `${causes} (an older build, which did not store whose they are)`;
        const by = [["its touches", b.scopes.touch], ["noise", b.scopes.reading], ["shared by all dies", b.scopes.shared]].map(([whose, share]) => `${whose} ${Math.round(Number(share))} %`).join(", ");
        return `${causes} (${by})${b.not_counted?.length ? `; not counted: ${b.not_counted.join(", ")}` : ""}`;
}

/** How sure a verdict is: 0.9731 is rounded down, and beyond 0.9999 and 1e-6 nobody knows a tail. @param {import("./api.js").Parameter} p */
function sureWords(p) {
        const c = p.conformance, band = p.guard_band;
        if (c === null || c === undefined)
                return "";
        const chance = c > 0.9999 ? "more than 0.9999" : c < 1e-6 ? "less than 1e-6" : c >= 0.1 ? (Math.floor(c * 1e4) / 1e4).toFixed(4) : Number(c.toPrecision(2)).toString();
        return `within limits with probability ${chance}; ${band === null ? "no value could pass with this U95" : band === 0 ? "decided by the value alone" : `guard band ${quantity(band, p.unit, 2)}`}`;
}

/** The device in one sentence. @param {import("./api.js").MapDevice} d */
const deviceWords = (d) => `${d.name}: ${OUTCOME[d.outcome] ?? d.outcome}, ${VERDICT[d.verdict]}, ${TRUST[d.trust]}${d.reason ? ` (${d.reason})` : ""}`;

function parameterTable(/** @type {DeviceView} */ v) {
        const mine = v.parameters.filter((p) => p.die.x === v.die.x && p.die.y === v.die.y);
        if (!mine.length)
                return h("p", { class: "quiet" }, v.plan?.dummy ? "This device is an open or short that others are de-embedded with; no value is asked of it." : "No value has been worked out here yet.");
        const touches = [...new Set(mine.map((p) => p.touchdown))];
        return h("table", {}, h("caption", { class: "unseen" }, "Values"),
                h("thead", {}, h("tr", {}, ...["Quantity", "Value ± U95", "Limits", "Verdict", "What makes the U95"].map((t) => h("th", { scope: "col" }, t)))),
                h("tbody", {}, ...mine.map((p) => {
                        const plan = v.plan?.parameters.find((q) => q.name === p.quantity);
                        const last = p.touchdown === touches[touches.length - 1];
                        return h("tr", { class: last ? null : "old" }, h("th", { scope: "row" }, p.quantity, touches.length > 1 ? h("span", { class: "quiet touch" }, last ? `touch ${p.touchdown}` : `touch ${p.touchdown}, replaced`) : null),
                                p.value === null ? h("td", { colspan: 2, class: "why" }, p.reason ?? "no value") : h("td", { class: "number" }, withU95(p.value, p.u95, p.unit)),
                                p.value === null ? null : h("td", { class: "number quiet" }, limitWords(plan) || "none"),
                                h("td", { class: "number" }, littleDie("none", markOf("measured", p.verdict), p.trust ?? "unknown", 22), h("span", { class: "verdict-word" }, VERDICT[p.verdict]), sureWords(p) ? h("span", { class: "quiet sure" }, sureWords(p)) : null),
                                h("td", { class: "quiet" }, budgetWords(p.budget)));
                })));
}

function story(/** @type {DeviceView} */ v) {
        const mine = v.touchdowns.filter((t) => t.device === v.device && t.die && t.die.x === v.die.x && t.die.y === v.die.y);
        if (!mine.length)
                return h("p", { class: "quiet" }, "Not touched yet.");
        return h("ol", { class: "story" }, ...mine.map((t) => {
                const e = t.evidence;
                const seen = [e?.reason, e?.dc_ohm_start ? `DC at the start ${ohms(e.dc_ohm_start)}` : "", e?.dc_ohm_end ? `at the end ${ohms(e.dc_ohm_end)}` : "",
                        e?.symmetry ? `ports alike to ${e.symmetry.toFixed(3)}` : "", e?.ripple ? `smooth to ${e.ripple.toFixed(4)}` : ""].filter(Boolean).join("; ");
                return h("li", {}, h("strong", {}, `Attempt ${t.attempt}: contact ${t.outcome ?? "under way"}`), `, overtravel ${quantity(t.overtravel_um, "µm", 3)}`,
                        t.station_s ? `, at ${span(t.station_s)} of station time` : "", ". ", seen ? `${seen}. ` : "",
                        t.trust ? `Trust: ${TRUST[t.trust] ?? t.trust}${t.trust_reason ? ` (${t.trust_reason})` : ""}.` : "",
                        t.replaces ? ` It replaces touch ${t.replaces}; both are kept.` : "");
        }));
}

function chain(/** @type {DeviceView} */ v, /** @type {number|undefined} */ sweep) {
        if (!sweep)
                return h("p", { class: "quiet" }, "No sweep is stored.");
        const link = (/** @type {string} */ href, /** @type {string} */ words) => h("a", { href }, words);
        const away = v.plan && v.plan.deembed !== "none";
        return h("ol", { class: "chain" },
                h("li", {}, h("strong", {}, "raw"), h("span", {}, `sweep ${sweep} `, ...["S11", "S12", "S21", "S22", "GF", "GR"].flatMap((name) => [link(address.trace(v.run, sweep, name), name), " "]))),
                h("li", {}, h("strong", {}, "corrected"), h("span", {}, link(address.touchstone(v.run, sweep, false), "at the probe tips, .s2p"), ", ", link(address.calibrations(v.run), "calibration"))),
                away ? h("li", {}, h("strong", {}, "pads and leads taken away"), h("span", {}, link(address.touchstone(v.run, sweep, true), `${v.plan?.deembed.replaceAll("_", " ")}, .s2p`))) : null,
                h("li", {}, h("strong", {}, "value"), h("span", {}, link(address.parameters(v.run, v.device), `${v.device} on all dies, CSV`))));
}

/**
 * @param {HTMLElement} title @param {HTMLElement} box @param {DeviceActions} actions
 * @returns {{draw: (view: DeviceView|null, sight: string) => void, curves: (picked: Network|null, others: Network[], words: string) => void}}
 */
export function makeDevice(title, box, actions) {
        const chips = h("div", { class: "chips", role: "group", "aria-label": "Devices of this die" });
        const fate = h("p", { class: "fate-words" });
        const sights = h("div", { class: "sights", role: "group", "aria-label": "Curve" });
        const plot = h("div", { class: "plot" }), smith = h("div", { class: "smith-box", hidden: true }), under = h("p", { class: "under quiet" });
        const values = h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Values" }), contact = h("div"), way = h("div");
        const parts = [chips, fate, sights, plot, smith, under, h("h3", {}, "Values"), values, h("h3", {}, "From raw to value"), way, h("h3", {}, "Contact"), contact];
        let sight = "", words_under = "", words_hidden = "", look = "";
        /** @type {string[]} */
        let offered = [];
        /** @type {number|null} */
        let z_ohm = null;
        const curve = makeCurve(plot, (words) => say(under, words || words_under + words_hidden), (words) => { words_hidden = words; say(under, words_under + words_hidden); });
        const hint = Array.from(box.childNodes);
        /** @type {Network|null} */
        let picked = null;
        /** @type {Network[]} */
        let others = [];

        const drawPlot = () => {
                plot.hidden = sight === "smith" || !picked;
                smith.hidden = sight !== "smith" || !picked;
                words_hidden = "";
                if (sight === "smith" && picked)
                        drawSmith(smith, picked, others);
                else
                        curve.draw(sight, picked, others, z_ohm);
        };
        const drawSights = () => sights.replaceChildren(...offered.map((name) => h("button", { type: "button", "aria-pressed": String(name === sight),
                click: () => { sight = name; actions.onSight(name); drawSights(); drawPlot(); /** @type {HTMLElement|null} */ (sights.querySelector("[aria-pressed=true]"))?.focus(); } }, name === "smith" ? "Smith" : SIGHTS[name].word)));

        return {
                draw: (v, wanted) => {
                        if (!v) {
                                look = "";
                                say(title, "No die picked");
                                box.replaceChildren(...hint);
                                return;
                        }
                        if (!chips.isConnected)
                                box.replaceChildren(...parts);
                        const d = v.die.devices.find((one) => one.name === v.device);
                        say(title, `Die ${v.die.x}, ${v.die.y}`.replaceAll("-", "−") + ` · ${v.device}${v.plan ? `, ${DEVICE_KIND[v.plan.kind] ?? v.plan.kind}` : ""}`);
                        say(fate, d ? `${deviceWords(d)}.` : "This device is not on this die.");
                        const fit = [...sightsFor(v.plan?.kind ?? "unknown", v.z_ohm), "smith"];
                        const first = fit.includes(wanted) ? wanted : fit[0];
                        if (sight !== first || offered.join() !== fit.join() || z_ohm !== v.z_ohm) {
                                [sight, offered, z_ohm] = [first, fit, v.z_ohm];
                                drawSights();
                                drawPlot();
                        }
                        const next = JSON.stringify([v.run, v.device, v.die, v.parameters.length, v.touchdowns.length, v.plan?.name]);
                        if (next === look)
                                return;
                        look = next;
                        const focused = chips.contains(document.activeElement);
                        chips.replaceChildren(...v.die.devices.map((one) => h("button", { type: "button", "aria-pressed": String(one.name === v.device), "aria-label": deviceWords(one),
                                click: () => actions.onDevice(one.name) }, littleDie("none", markOf(one.outcome, one.verdict), one.trust, 22), one.name)));
                        if (focused)
                                /** @type {HTMLElement|null} */ (chips.querySelector("[aria-pressed=true]"))?.focus();
                        values.replaceChildren(parameterTable(v));
                        contact.replaceChildren(story(v));
                        way.replaceChildren(chain(v, d?.sweep));
                },
                curves: (mine, rest, words) => {
                        picked = mine;
                        others = rest;
                        words_under = words;
                        drawPlot();
                        say(under, words_under + words_hidden);
                },
        };
}
