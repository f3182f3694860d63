/* words.js: what the page says, in one place.  Keys are the words of the interface. */

/** @type {Record<string, string>} */
export const VERDICT = { none: "no verdict", pass: "pass", marginal: "marginal", fail: "fail" };
/** @type {Record<string, string>} */
export const TRUST = { unknown: "not yet known", proven: "proven", open: "interval open", suspect: "suspect", rescued: "rescued" };
/** @type {Record<string, string>} */
export const OUTCOME = { unknown: "not measured", waits: "not measured yet", measured: "measured", doubtful: "measured, contact doubtful", no_contact: "no contact",
        skipped: "skipped", written_off: "written off" };
/** The mark in a die. @type {Record<string, string>} */
export const MARK = { nothing: "pass, or no limit", bar: "fail", half: "marginal", ring: "no contact", dot: "not measured" };
/** The border of a die. @type {Record<string, string>} */
export const BORDER = { proven: "proven", suspect: "suspect", open: "interval open", rescued: "rescued", unknown: "no trust yet" };
/** @type {Record<string, string>} */
export const DEVICE_KIND = { inductor: "inductor", capacitor: "capacitor", resistor: "resistor", line: "line", open: "open", short: "short", ladder: "resistor ladder",
        unknown: "device" };
/** @type {Record<string, string>} */
export const ENDED_BY = { every_dies: "a check, as planned", intervention: "an intervention", closing: "the closing check" };
/** @type {Record<string, string>} */
export const TIP = { known: "known", believed: "believed", unknown: "unknown" };

/** Which way the notch points. @param {number} deg counter-clockwise, 0 = +x */
export function notchWords(deg) {
        const turn = ((Math.round(deg) % 360) + 360) % 360;
        const words = /** @type {Record<number, string>} */ ({ 0: "at the right", 90: "at the top", 180: "at the left", 270: "at the bottom" });
        return words[turn] ?? `at ${turn}° counter-clockwise from the right`;
}
