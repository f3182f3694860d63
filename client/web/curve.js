/* curve.js: the picked device over frequency, with the same device of the other dies thin behind it. */
import uPlot from "./uPlot.esm.js";
import { quantity } from "./dom.js";

/** @typedef {import("./api.js").Network} Network */
/** @typedef {{word: string, unit: string, of: (n: Network) => Float64Array}} Sight */

const entry = (/** @type {number} */ k, /** @type {(re: number, im: number) => number} */ f) => (/** @type {Network} */ n) => {
        const out = new Float64Array(n.n);
        for (let i = 0; i < n.n; i++)
                out[i] = f(n.s[2 * k][i], n.s[2 * k + 1][i]);
        return out;
};
const dB = (/** @type {number} */ re, /** @type {number} */ im) => 10 * Math.log10(re * re + im * im);
const degrees = (/** @type {number} */ re, /** @type {number} */ im) => Math.atan2(im, re) * 180 / Math.PI;

/** S is stored S11 S12 S21 S22. @type {Record<string, Sight>} */
export const SIGHTS = {
        s21: { word: "|S21|", unit: "dB", of: entry(2, dB) },
        s11: { word: "|S11|", unit: "dB", of: entry(0, dB) },
        s22: { word: "|S22|", unit: "dB", of: entry(3, dB) },
        s12: { word: "|S12|", unit: "dB", of: entry(1, dB) },
        phase: { word: "phase of S21", unit: "°", of: entry(2, degrees) },
};

const hertz = (/** @type {number} */ f) => quantity(f, "Hz", 3).replace(/\.0+\u00a0/, "\u00a0");
const ink = (/** @type {Element} */ at, /** @type {string} */ name) => getComputedStyle(at).getPropertyValue(name).trim();

/** Highest and lowest that count: a few noisy points must not flatten the curve. */
function rangeOf(/** @type {Float64Array[]} */ rows) {
        const all = [];
        for (const row of rows)
                for (let i = 0; i < row.length; i += 3)
                        if (Number.isFinite(row[i]))
                                all.push(row[i]);
        all.sort((a, b) => a - b);
        const low = all[Math.floor(all.length * 0.02)] ?? -1, high = all[Math.ceil(all.length * 0.98) - 1] ?? 1;
        const room = Math.max((high - low) * 0.12, Math.abs(high) * 1e-3, 1e-6);
        return /** @type {[number, number]} */ ([low - room, high + room]);
}

/** Runs of points that lie on the same frequencies can share a plot. */
const sameAxis = (/** @type {Network} */ a, /** @type {Network} */ b) => a.n === b.n && a.hz[0] === b.hz[0] && a.hz[a.n - 1] === b.hz[b.n - 1];

/**
 * @param {HTMLElement} box @param {(words: string) => void} read  gets what stands under the cursor
 * @returns {{draw: (sight: string, picked: Network|null, others: Network[]) => void, close: () => void}}
 */
export function makeCurve(box, read) {
        /** @type {uPlot|null} */
        let plot = null;
        /** @type {(() => void)|null} */
        let again = null;
        const close = () => { plot?.destroy(); plot = null; };
        const size = () => ({ width: Math.max(240, box.clientWidth), height: box.clientWidth < 420 ? 230 : 290 });
        const watch = new ResizeObserver(() => { if (plot && Math.abs(plot.width - size().width) > 1) plot.setSize(size()); });
        watch.observe(box);
        const scheme = matchMedia("(prefers-color-scheme: dark)");
        const onScheme = () => again?.();
        scheme.addEventListener("change", onScheme);

        const draw = (/** @type {string} */ sightName, /** @type {Network|null} */ picked, /** @type {Network[]} */ others) => {
                again = () => draw(sightName, picked, others);
                close();
                if (!picked)
                        return;
                const sight = SIGHTS[sightName] ?? SIGHTS.s21;
                const behind = others.filter((o) => sameAxis(o, picked)).map(sight.of);
                const mine = sight.of(picked);
                const font = `12px ${getComputedStyle(box).fontFamily}`;
                const axis = { stroke: ink(box, "--quiet"), grid: { stroke: ink(box, "--rule"), width: 1 }, ticks: { stroke: ink(box, "--rule"), width: 1, size: 4 }, font };
                plot = new uPlot({
                        ...size(),
                        padding: [10, 14, 0, 0],
                        legend: { show: false },
                        cursor: { drag: { x: true, y: false }, points: { size: 7 } },
                        scales: { x: { distr: 3, time: false }, y: { range: sightName === "phase" ? [-180, 180] : rangeOf([mine, ...behind]) } },
                        axes: [{ ...axis, space: 46, values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map((f) => f && /^1e[+-]?\d+$/.test(f.toExponential()) ? hertz(f) : null) },
                                { ...axis, size: 52, values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map((v) => String(Number(v.toFixed(4))).replace("-", "−")) }],
                        series: [{}, ...behind.map(() => ({ stroke: ink(box, "--behind"), width: 1, points: { show: false } })),
                                { stroke: ink(box, "--ink"), width: 2, points: { show: false } }],
                        hooks: { setCursor: [(/** @type {any} */ u) => {
                                const i = u.cursor.idx;
                                read(i === null || i === undefined ? "" : `${sight.word} at ${quantity(picked.hz[i], "Hz", 4)}: ${quantity(mine[i], sight.unit === "°" ? "dB" : sight.unit, 4).replace(/\u00a0dB$/, `\u00a0${sight.unit}`)}`);
                        }] },
                }, [Array.from(picked.hz), ...behind.map((row) => Array.from(row)), Array.from(mine)], box);
                plot.root.setAttribute("role", "img");
                plot.root.setAttribute("aria-label", `${sight.word} from ${hertz(picked.hz[0])} to ${hertz(picked.hz[picked.n - 1])}, `
                        + `between ${Math.min(...mine.filter(Number.isFinite)).toFixed(2)} and ${Math.max(...mine.filter(Number.isFinite)).toFixed(2)} ${sight.unit}; `
                        + `${behind.length} other dies behind it. The numbers are in the Touchstone file below.`);
        };
        return { draw, close: () => { close(); watch.disconnect(); scheme.removeEventListener("change", onScheme); } };
}
