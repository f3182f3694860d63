/* legend.js: always there; drawn with the same marks as the wafer. */
import { h, s, quantity } from "./dom.js";
import { drawBorder, drawMark, STEPS } from "./face.js";
import { BORDER, MARK, notchWords } from "./words.js";

const SIZE = 30;

/** @param {string} step @param {import("./face.js").Mark} mark @param {string} border @param {number} [size] @returns {SVGElement} a die as small as a letter */
export const littleDie = (step, mark, border, size = SIZE) => s("svg", { class: "little", width: size, height: size, viewBox: `0 0 ${size} ${size}`, "aria-hidden": "true" },
        s("rect", { class: `fill ${step}`, x: 0, y: 0, width: size, height: size }), drawMark(mark, 0, 0, size, size), ...(border ? drawBorder(border, 0, 0, size, size) : []));

const item = (/** @type {SVGElement} */ sample, /** @type {string} */ words) => h("li", {}, sample, h("span", {}, words));

/**
 * @param {HTMLElement} box
 * @param {{ramp: import("./face.js").Ramp|null, unit: string, what: string, notch_deg: number}} of
 */
export function drawMapLegend(box, of) {
        const { ramp } = of;
        const edge = (/** @type {number} */ i) => ramp ? ramp.low + (ramp.high - ramp.low) * i / STEPS : 0;
        const steps = Array.from({ length: STEPS }, (_, i) => s("rect", { class: `fill step${i}`, x: i * 30, y: 0, width: 30, height: 16 }));
        box.replaceChildren(
                h("div", { class: "legend-part" }, h("h3", {}, ramp ? `Value: ${of.what}` : "Value"),
                        ramp ? h("div", { class: "ramp" },
                                s("svg", { width: 210, height: 16, viewBox: "0 0 210 16", role: "img", "aria-label": "seven steps, from the lowest to the highest value" }, ...steps),
                                h("div", { class: "ramp-ends" },
                                        h("span", {}, `${ramp.clipped_low ? "≤ " : ""}${quantity(edge(0), of.unit, 4)}`), h("span", {}, quantity(edge(STEPS / 2), of.unit, 4)),
                                        h("span", {}, `${ramp.clipped_high ? "≥ " : ""}${quantity(edge(STEPS), of.unit, 4)}`)))
                                : h("p", { class: "quiet" }, of.what ? `No die has a value of ${of.what} yet.` : "Choose a parameter to shade the dies by its value.")),
                h("div", { class: "legend-part" }, h("h3", {}, "Verdict: the mark"),
                        h("ul", {}, ...Object.entries(MARK).map(([mark, words]) => item(littleDie("none", /** @type {import("./face.js").Mark} */ (mark), "unknown"), words)))),
                h("div", { class: "legend-part" }, h("h3", {}, "Trust: the border"),
                        h("ul", {}, ...Object.entries(BORDER).map(([border, words]) => item(littleDie("none", "nothing", border), words)))),
                h("p", { class: "quiet orientation" }, `Seen from above; the notch is ${notchWords(of.notch_deg)}; x to the right, y up.`));
}

/** @param {HTMLElement} box */
export function drawRibbonLegend(box) {
        const small = (/** @type {SVGElement[]} */ ...parts) => s("svg", { width: 22, height: 22, viewBox: "0 0 22 22", "aria-hidden": "true" }, ...parts);
        const rows = /** @type {[SVGElement, string][]} */ ([
                [small(s("path", { class: "tick plain", d: "M6 20v-8M11 20v-14M16 20v-4" })), "touch; height: DC reading, share of what is allowed (1 to 100 %, logarithmic)"],
                [small(s("path", { class: "tick plain later", d: "M6 20v-8M11 20v-14M16 20v-4" })), "measured, not yet proven"],
                [small(s("path", { class: "tick doubtful", d: "M11 20v-16" })), "contact doubtful"],
                [small(s("path", { class: "tick plain", d: "M11 20v-11" }), s("path", { class: "tick absent", d: "M8.4 5.5a2.6 2.6 0 1 0 5.2 0a2.6 2.6 0 1 0 -5.2 0" })), "contact absent"],
                [small(s("path", { class: "tick again", d: "M11 8l-4 7h8z" })), "touched again"],
                [small(s("path", { class: "tick standard", d: "M6 7v8M11 7v8M16 7v8" })), "touch on a standard"],
                [small(s("g", { class: "gate passed" }, s("rect", { x: 9, y: 2, width: 4, height: 19 }))), "gate: check passed"],
                [small(s("g", { class: "gate failed" }, s("rect", { x: 9, y: 4, width: 4, height: 17 }), s("path", { d: "M5 1l12 12m0 -12l-12 12" }))), "check failed"],
                [small(s("rect", { class: "gate waiting", x: 9, y: 2, width: 4, height: 19 })), "not yet closed"],
                [small(s("path", { class: "notch", d: "M5 6h12l-6 9z" })), "intervention"],
                [small(s("path", { class: "drift-line", d: "M2 16L20 8" }), s("line", { class: "allowed", x1: 2, x2: 20, y1: 4, y2: 4 })), "drift; dashes: 100 % of what is allowed"],
        ]);
        box.replaceChildren(h("ul", {}, ...rows.map(([sample, words]) => item(sample, words))));
}
