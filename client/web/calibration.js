/* calibration.js: of which calibrations a run was made, and how well the bands of a joined one meet.
 * Figure    One row per band along a logarithmic frequency; shaded where two bands both exist; above, a pin per joint: how far their solutions differ there, in what
 *           their uncertainties allow.  The dashes are all that is allowed; a pin that passes them is the warning below in one glance; a question mark where no uncertainty is stated. */
import { clock, h, s, quantity, withU95 } from "./dom.js";

const ROW = 18, GAP = 5, PINS = 54, TOP = 10, AXIS = 18, MOST = 1.6; // px; a pin ends at MOST times what is allowed
const hertz = (/** @type {number} */ f) => quantity(f, "Hz", 3).replace(/(\.\d*?)0+\u00a0/, "$1\u00a0").replace(/\.\u00a0/, "\u00a0");
const few = (/** @type {number} */ x) => Number(x.toPrecision(2)).toString();
const known = (/** @type {number|null|undefined} */ x) => x !== null && x !== undefined && Number.isFinite(x);

/** The methods that meet at a joint; files of before the joint said it itself have them in the bands' list. @param {import("./api.js").Diagnosis} d @param {number} k */
const meeting = (d, k) => [d.joints?.[k].below ?? d.bands?.[k]?.method ?? "", d.joints?.[k].above ?? d.bands?.[k + 1]?.method ?? ""];

/** One joint in one plain line. @param {import("./api.js").Diagnosis} d @param {number} k */
export function jointWords(d, k) {
        const j = /** @type {import("./api.js").Joint} */ (d.joints?.[k]), [below, above] = meeting(d, k);
        return `Join ${hertz(j.from_hz)} to ${hertz(j.to_hz)}, ${below} below, ${above} above: kink ${few(j.kink)} at ${hertz(j.kink_hz)}${known(j.kink_allowed) ? `, where ${few(/** @type {number} */ (j.kink_allowed))} is allowed` : ""}; `
                + (known(j.share_of_allowed) ? `over the join ${few(/** @type {number} */ (j.share_of_allowed))} of what both uncertainties allow.` : "no uncertainty is stated that it could be held against.");
}

/** What the loads were taken as, where the station's DC meter said it, and when that was. @param {import("./api.js").Calibration} c */
function loadTable(c) {
        const when = (/** @type {string} */ name) => c.standards?.find((one) => one.standard === name)?.swept;
        return h("table", { class: "loads" }, h("caption", {}, "Loads, as the DC meter read them"),
                h("thead", {}, h("tr", {}, ...["Load", "Port", "Taken as", "Stated", "Shorts, taken off", "When"].map((t) => h("th", { scope: "col" }, t)))),
                h("tbody", {}, ...(c.diagnosis?.loads ?? []).map((l) => { const swept = when(l.standard); return h("tr", {}, h("th", { scope: "row" }, l.copy && l.copy !== l.standard ? `${l.standard} (${l.copy})` : l.standard), h("td", { class: "number" }, String(l.port)),
                        h("td", { class: "number" }, withU95(l.ohm, 2 * l.u_ohm, "ohm")), h("td", { class: "number quiet" }, `${Number(l.stated_ohm.toPrecision(4))} ± ${Number(l.tolerance_ohm.toPrecision(4))}\u00a0Ω`),
                        h("td", { class: "number quiet" }, quantity(l.short_ohm, "ohm", 2)), h("td", { class: "quiet" }, swept ? h("time", { datetime: swept }, clock(swept)) : "in another run")); })));
}

/** @param {import("./api.js").Diagnosis} d @param {number} width */
function figure(d, width) {
        const bands = d.bands ?? [], joints = d.joints ?? [], left = 0, end = width - 6;
        const low = bands[0].from_hz, high = bands[bands.length - 1].to_hz;
        const at = (/** @type {number} */ f) => left + Math.log(f / low) / Math.log(high / low) * (end - left);
        const base = TOP + PINS, rows = base + 6, bottom = rows + bands.length * (ROW + GAP);
        const tall = (/** @type {number|null|undefined} */ share) => Math.min(MOST, share ?? 0) / MOST * PINS;
        const decades = Array.from({ length: Math.max(0, Math.floor(Math.log10(high)) - Math.ceil(Math.log10(low)) + 1) }, (_, i) => 10 ** (Math.ceil(Math.log10(low)) + i));
        const words = joints.map((_, k) => jointWords(d, k)).join(" ");
        return s("svg", { class: "joints", width, height: bottom + AXIS, viewBox: `0 0 ${width} ${bottom + AXIS}`, role: "img", "aria-label": `Bands of the calibration and the kinks where they meet. ${words}` },
                ...joints.map((j) => s("rect", { class: "both", x: at(j.from_hz), y: TOP, width: Math.max(2, at(j.to_hz) - at(j.from_hz)), height: bottom - TOP - GAP })),
                s("line", { class: "allowed", x1: left, x2: end, y1: base - PINS / MOST, y2: base - PINS / MOST }),
                s("text", { x: left, y: base - PINS / MOST - 4 }, "allowed"),
                s("line", { class: "zero", x1: left, x2: end, y1: base, y2: base }),
                ...bands.flatMap((b, k) => [s("rect", { class: "band", x: at(b.from_hz), y: rows + k * (ROW + GAP), width: Math.max(2, at(b.to_hz) - at(b.from_hz)), height: ROW }),
                        s("text", { class: "in", x: Math.max(left + 5, at(b.from_hz) + 5), y: rows + k * (ROW + GAP) + ROW - 5 }, b.method)]),
                ...joints.map((j) => !known(j.share_of_allowed) ? s("text", { x: at(j.kink_hz), y: base - 4, "text-anchor": "middle" }, "?") : s("g", { class: `kink${j.beyond ? " beyond" : ""}` }, s("line", { x1: at(j.kink_hz), x2: at(j.kink_hz), y1: base, y2: base - tall(j.share_of_allowed) }),
                        s("circle", { cx: at(j.kink_hz), cy: base - tall(j.share_of_allowed), r: 4 }))),
                ...decades.map((f) => s("text", { x: at(f), y: bottom + 12, "text-anchor": at(f) < 20 ? "start" : at(f) > end - 20 ? "end" : "middle" }, hertz(f))));
}

/** @param {HTMLElement} box @param {import("./api.js").Calibration[]} all in the order they were made */
export function drawCalibrations(box, all) {
        const width = Math.min(760, Math.max(280, box.clientWidth));
        const look = JSON.stringify([width, all.map((c) => [c.id, c.state])]);
        if (box.dataset.look === look)
                return;
        box.dataset.look = look;
        box.replaceChildren(...(all.length ? [...all].reverse().map((c) => {
                const d = c.diagnosis ?? {}, joined = Boolean(d.joints?.length && d.bands?.length);
                return h("div", { class: "calibration" },
                        h("h3", {}, `Number ${c.number}, ${c.method}, ${c.state}${c.domain ? `, ${hertz(c.domain.from_hz)} to ${hertz(c.domain.to_hz)}` : ""}`),
                        d.loads?.length ? h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Loads" }, loadTable(c)) : "",
                        joined ? figure(d, width) : "",
                        joined ? h("ul", { class: "story" }, .../** @type {import("./api.js").Joint[]} */ (d.joints).map((j, k) => h("li", {}, jointWords(d, k),
                                j.sentence ? h("p", { class: j.beyond ? "alarm" : "quiet" }, h("strong", {}, j.beyond ? "Beyond what is allowed: " : ""), `${j.sentence}.`) : ""))) : "");
        }) : [h("p", { class: "quiet" }, "No calibration has been solved yet.")]));
}
