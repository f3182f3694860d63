/* face.js: what a die looks like: which mark, which border, which step of the ramp.  Three facts, three channels, none of them colour alone.
 * Map, legend, device list and table all draw their marks here, so that they cannot differ. */
import { s } from "./dom.js";

/** @typedef {import("./api.js").MapDie} MapDie */
/** @typedef {import("./api.js").Parameter} Parameter */
/** @typedef {"nothing"|"bar"|"half"|"ring"|"dot"} Mark */
/** @typedef {{mark: Mark, border: string, value: number|null, u95: number|null, verdict: string, outcome: string, reason: string, contact: string}} Face */

export const STEPS = 7;

/** @param {string} outcome @param {string} verdict @returns {Mark} */
export function markOf(outcome, verdict) {
        if (outcome === "no_contact")
                return "ring";
        if (outcome !== "measured" && outcome !== "doubtful")
                return "dot";
        return verdict === "fail" ? "bar" : verdict === "marginal" ? "half" : "nothing";
}

/**
 * The face of a die for what the wafer shows.
 * @param {MapDie} die
 * @param {string} device  "" for all devices together
 * @param {Parameter|undefined} parameter  of that device, where one is shown and measured
 * @returns {Face}
 */
export function faceOf(die, device, parameter) {
        if (!device) {
                const left = die.devices.filter((d) => d.outcome === "waits" || d.outcome === "unknown").length;
                const outcome = left === die.devices.length ? "waits" : die.no_contact > 0 ? "no_contact" : left > 0 ? "waits" : "measured";
                const why = die.devices.find((d) => d.trust === die.trust && d.reason)?.reason ?? "";
                return { mark: markOf(outcome, die.verdict), border: left === die.devices.length ? "unknown" : die.trust, value: null, u95: null, verdict: die.verdict, outcome,
                        reason: why, contact: "" };
        }
        const seen = die.devices.find((d) => d.name === device);
        const outcome = seen?.outcome ?? "unknown";
        const verdict = parameter?.verdict ?? seen?.verdict ?? "none";
        return { mark: markOf(outcome, verdict), border: seen?.trust ?? "unknown", value: parameter?.value ?? null, u95: parameter?.u95 ?? null, verdict, outcome,
                reason: parameter?.reason ?? seen?.reason ?? "", contact: parameter?.contact ?? "" };
}

/**
 * Where a mark lies in a box: all sizes follow from it, so a reader (or a script) finds it again at any size.
 * @param {Mark} mark @param {number} x @param {number} y @param {number} w @param {number} height @returns {SVGElement|null}
 */
export function drawMark(mark, x, y, w, height) {
        const cx = x + w / 2, cy = y + height * 0.7, r = Math.min(w, height) * 0.13;
        const thick = Math.max(2.5, height * 0.11), inset = Math.max(3.6, w * 0.16);
        switch (mark) {
        case "bar":
                return s("rect", { class: "mark", x: x + inset, y: cy - thick / 2, width: w - 2 * inset, height: thick });
        case "half":
                return s("rect", { class: "mark", x: x + inset, y: cy - thick / 2, width: w / 2 - inset, height: thick });
        case "ring":
                return s("circle", { class: "ring", cx, cy, r, "stroke-width": Math.max(1.6, r * 0.42) });
        case "dot":
                return s("circle", { class: "mark", cx, cy, r: Math.max(1.8, r * 0.55) });
        default:
                return null;
        }
}

/**
 * The border of a die, drawn inside its box: full, dashed, dotted, doubled; a hairline where nothing is known yet.
 * @param {string} trust @param {number} x @param {number} y @param {number} w @param {number} height @returns {SVGElement[]}
 */
export function drawBorder(trust, x, y, w, height) {
        const size = Math.min(w, height), line = Math.max(1.4, Math.min(2.4, size * 0.05));
        const box = (/** @type {number} */ inset, /** @type {string} */ kind, /** @type {number} */ stroke, /** @type {string|null} */ dash) =>
                s("rect", { class: `border ${kind}`, x: x + inset, y: y + inset, width: Math.max(0, w - 2 * inset), height: Math.max(0, height - 2 * inset), "stroke-width": stroke,
                        "stroke-dasharray": dash });
        switch (trust) {
        case "proven":
                return [box(line / 2, "proven", line, null)];
        case "suspect":
                return sides(x, y, w, height, line, size * 0.2, size * 0.13, "suspect");
        case "open":
                return sides(x, y, w, height, line, line * 1.05, line * 1.5, "open");
        case "rescued":
                return [box(0.5, "rescued", 1, null), box(0.5 + Math.max(2.4, Math.min(3.2, size * 0.085)), "rescued", 1, null)];
        default:
                return [box(0.5, "unknown", 1, null)];
        }
}

/** Dashes that begin and end whole on each side, so that corners read the same everywhere. */
function sides(/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ w, /** @type {number} */ height, /** @type {number} */ line, /** @type {number} */ dash,
        /** @type {number} */ gap, /** @type {string} */ kind) {
        const a = line / 2;
        const side = (/** @type {number} */ x1, /** @type {number} */ y1, /** @type {number} */ x2, /** @type {number} */ y2) => {
                const length = Math.hypot(x2 - x1, y2 - y1);
                const n = Math.max(2, Math.round((length + gap) / (dash + gap)));
                const even = (length - n * dash) / (n - 1);
                return s("line", { class: `border ${kind}`, x1, y1, x2, y2, "stroke-width": line, "stroke-dasharray": `${dash} ${Math.max(0.5, even)}` });
        };
        return [side(x, y + a, x + w, y + a), side(x, y + height - a, x + w, y + height - a), side(x + a, y, x + a, y + height), side(x + w - a, y, x + w - a, y + height)];
}

/**
 * @typedef {{low: number, high: number, clipped_low: boolean, clipped_high: boolean, n: number}} Ramp
 * @param {number[]} values @returns {Ramp|null} the range that 7 steps share; 3 % at either end may lie outside, so that one defect does not flatten the wafer
 */
export function rampOf(values) {
        const sorted = values.filter(Number.isFinite).sort((a, b) => a - b);
        if (!sorted.length)
                return null;
        const at = (/** @type {number} */ q) => sorted[Math.round(q * (sorted.length - 1))];
        const cut = sorted.length >= 20 ? 0.03 : 0;
        let low = at(cut), high = at(1 - cut);
        if (!(high > low))
                [low, high] = [low - Math.abs(low) * 1e-6 - 1e-30, high + Math.abs(high) * 1e-6 + 1e-30];
        return { low, high, clipped_low: sorted[0] < low, clipped_high: sorted[sorted.length - 1] > high, n: sorted.length };
}

/** @param {Ramp} ramp @param {number} value @returns {number} 0 (lowest) to 6 */
export const stepOf = (ramp, value) => Math.max(0, Math.min(STEPS - 1, Math.floor((value - ramp.low) / (ramp.high - ramp.low) * STEPS)));
