/* smith.js: reflections in the plane of the reflection coefficient; S11 full, S22 dashed, the other dies thin behind. */
import { s } from "./dom.js";

/** @typedef {import("./api.js").Network} Network */
const R = 150, C = 165;

/** Circles of constant resistance, arcs of constant reactance (P. H. Smith, Electronics, January 1939). */
function grid() {
        const out = [s("circle", { class: "smith-rim", cx: C, cy: C, r: R }), s("line", { class: "smith-grid", x1: C - R, x2: C + R, y1: C, y2: C })];
        for (const r of [0.2, 0.5, 1, 2, 5])
                out.push(s("circle", { class: "smith-grid", cx: C + R * r / (1 + r), cy: C, r: R / (1 + r) }));
        for (const x of [0.2, 0.5, 1, 2, 5])
                for (const up of [1, -1]) {
                        const at = { x: (x * x - 1) / (x * x + 1), y: 2 * x / (x * x + 1) * up };
                        out.push(s("path", { class: "smith-grid", d: `M${C + R} ${C}A${R / x} ${R / x} 0 0 ${up > 0 ? 1 : 0} ${(C + R * at.x).toFixed(2)} ${(C - R * at.y).toFixed(2)}` }));
                }
        return out;
}

const path = (/** @type {Network} */ n, /** @type {number} */ k, /** @type {number} */ every) => {
        let d = "";
        for (let i = 0; i < n.n; i += every) {
                const re = n.s[2 * k][i], im = n.s[2 * k + 1][i];
                if (Number.isFinite(re) && Number.isFinite(im))
                        d += `${d ? "L" : "M"}${(C + R * re).toFixed(1)} ${(C - R * im).toFixed(1)}`;
        }
        return d;
};

/** @param {HTMLElement} box @param {Network} picked @param {Network[]} others */
export function drawSmith(box, picked, others) {
        box.replaceChildren(s("svg", { class: "smith", viewBox: `0 0 ${2 * C} ${2 * C}`, role: "img",
                "aria-label": `Smith chart of S11 (full line) and S22 (dashed), ${others.length} other dies behind. The numbers are in the Touchstone file below.` },
                ...grid(), ...others.map((o) => s("path", { class: "smith-behind", d: path(o, 0, 5) })),
                s("path", { class: "smith-s22", d: path(picked, 3, 1) }), s("path", { class: "smith-s11", d: path(picked, 0, 1) })));
}
