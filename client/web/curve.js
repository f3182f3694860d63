/* curve.js: the picked device over frequency, with the same device of the other dies thin behind it. */
import uPlot from "./uPlot.esm.js";
import { quantity } from "./dom.js";

/** @typedef {import("./api.js").Network} Network */
/** @typedef {{word: string, unit: string, kind?: string, of: (n: Network, z_ohm: number) => Float64Array}} Sight  kind: devices it suits; all without it */

const entry = (/** @type {number} */ k, /** @type {(re: number, im: number) => number} */ f) => (/** @type {Network} */ n) => {
        const out = new Float64Array(n.n);
        for (let i = 0; i < n.n; i++)
                out[i] = f(n.s[2 * k][i], n.s[2 * k + 1][i]);
        return out;
};
const dB = (/** @type {number} */ re, /** @type {number} */ im) => 10 * Math.log10(re * re + im * im);
const degrees = (/** @type {number} */ re, /** @type {number} */ im) => Math.atan2(im, re) * 180 / Math.PI;

/** Of the series branch Z = -2 / (Y12 + Y21), as the daemon reads a device between two ports; from S: Z = z (( 1 + S11)(1 + S22) - S12 S21) / (S12 + S21). */
const branch = (/** @type {(re: number, im: number, omega: number) => number} */ f) => (/** @type {Network} */ n, /** @type {number} */ z_ohm) => {
        const out = new Float64Array(n.n), [ar, ai, br, bi, cr, ci, dr, di] = n.s;
        for (let i = 0; i < n.n; i++) {
                const re = (1 + ar[i]) * (1 + dr[i]) - ai[i] * di[i] - br[i] * cr[i] + bi[i] * ci[i];
                const im = (1 + ar[i]) * di[i] + ai[i] * (1 + dr[i]) - br[i] * ci[i] - bi[i] * cr[i];
                const xr = br[i] + cr[i], xi = bi[i] + ci[i], size = xr * xr + xi * xi;
                out[i] = f(z_ohm * (re * xr + im * xi) / size, z_ohm * (im * xr - re * xi) / size, 2 * Math.PI * n.hz[i]);
        }
        return out;
};

/** S is stored S11 S12 S21 S22. @type {Record<string, Sight>} */
export const SIGHTS = {
        L: { word: "L", unit: "H", kind: "inductor", of: branch((_, x, w) => x / w) },
        Q: { word: "Q", unit: "1", kind: "inductor", of: branch((r, x) => x / r) },
        C: { word: "C", unit: "F", kind: "capacitor", of: branch((_, x, w) => -1 / (w * x)) },
        R: { word: "R", unit: "ohm", kind: "resistor", of: branch((r) => r) },
        s21: { word: "|S21|", unit: "dB", of: entry(2, dB) },
        s11: { word: "|S11|", unit: "dB", of: entry(0, dB) },
        s22: { word: "|S22|", unit: "dB", of: entry(3, dB) },
        s12: { word: "|S12|", unit: "dB", of: entry(1, dB) },
        phase: { word: "phase of S21", unit: "°", of: entry(2, degrees) },
};

/** The sights that suit a device, its own first. @param {string} kind @param {number|null} z_ohm null: S only, the reference impedance is not one number */
export const sightsFor = (kind, z_ohm) => Object.keys(SIGHTS).filter((name) => !SIGHTS[name].kind || (z_ohm !== null && SIGHTS[name].kind === kind));

const hertz = (/** @type {number} */ f) => quantity(f, "Hz", 3).replace(/\.0+\u00a0/, "\u00a0");
const ink = (/** @type {Element} */ at, /** @type {string} */ name) => getComputedStyle(at).getPropertyValue(name).trim();

/** Highest and lowest that count: a few noisy points must not flatten the curve.  With a middle: nor a resonance, where L or C go to infinity. */
function rangeOf(/** @type {Float64Array[]} */ rows, /** @type {number|null} */ middle) {
        const all = [];
        for (const row of rows)
                for (let i = 0; i < row.length; i += 3)
                        if (Number.isFinite(row[i]))
                                all.push(row[i]);
        all.sort((a, b) => a - b);
        const low = Math.max(all[Math.floor(all.length * 0.02)] ?? -1, middle === null ? -Infinity : middle - 1.2 * Math.abs(middle));
        const high = Math.min(all[Math.ceil(all.length * 0.98) - 1] ?? 1, middle === null ? Infinity : middle + 1.2 * Math.abs(middle));
        const room = Math.max((high - low) * 0.12, Math.abs(high) * 1e-3, 1e-18);
        return /** @type {[number, number]} */ ([low - room, high + room]);
}

/** The value on the plateau: the mean of the twenty points in a row that differ least; noise lies below it, resonance above. @param {Float64Array} row */
function plateau(row) {
        const wide = Math.min(20, row.length);
        let best = NaN, least = Infinity;
        for (let i = 0; i + wide <= row.length; i++) {
                const part = row.subarray(i, i + wide);
                let low = Infinity, high = -Infinity, sum = 0;
                for (const v of part)
                        [low, high, sum] = [Math.min(low, v), Math.max(high, v), sum + v];
                const spread = (high - low) / Math.abs(sum / wide);
                if (spread < least)
                        [least, best] = [spread, sum / wide];
        }
        return best;
}

/** Where a value of the branch begins to mean something: the longest stretch within a quarter of its plateau; before it noise throws it about. */
function resolvedFrom(/** @type {Float64Array} */ row) {
        const middle = plateau(row);
        let best = 0, longest = 0, begun = 0;
        for (let i = 0; i <= row.length; i++) {
                if (i < row.length && Math.abs(row[i] - middle) <= 0.25 * Math.abs(middle))
                        continue;
                if (i - begun > longest)
                        [longest, best] = [i - begun, begun];
                begun = i + 1;
        }
        return longest > row.length * 0.05 ? best : 0;
}

/** What lies far outside leaves a gap, so that a pole is no vertical line. */
const tamed = (/** @type {Float64Array} */ row, /** @type {[number, number]} */ range) => {
        const room = range[1] - range[0];
        return Array.from(row, (v) => v > range[1] + room || v < range[0] - room || !Number.isFinite(v) ? null : v);
};

/** Whole decades, and 2 and 5 between them where there are few. */
function decades(/** @type {number} */ low, /** @type {number} */ high) {
        const few = high / low < 300, out = [];
        for (let e = Math.floor(Math.log10(low)); 10 ** e <= high; e++)
                for (const m of few ? [1, 2, 5] : [1])
                        if (m * 10 ** e >= low && m * 10 ** e <= high)
                                out.push(m * 10 ** e);
        return out;
}

/** Runs of points that lie on the same frequencies can share a plot. */
const sameAxis = (/** @type {Network} */ a, /** @type {Network} */ b) => a.n === b.n && a.hz[0] === b.hz[0] && a.hz[a.n - 1] === b.hz[b.n - 1];

/**
 * @param {HTMLElement} box @param {(words: string) => void} read  gets what stands under the cursor @param {(words: string) => void} note  gets what is not drawn
 * @returns {{draw: (sight: string, picked: Network|null, others: Network[], z_ohm: number|null) => void, close: () => void}}
 */
export function makeCurve(box, read, note) {
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

        const draw = (/** @type {string} */ sightName, /** @type {Network|null} */ picked, /** @type {Network[]} */ others, /** @type {number|null} */ z_ohm) => {
                again = () => draw(sightName, picked, others, z_ohm);
                close();
                if (!picked)
                        return;
                const sight = SIGHTS[sightName] ?? SIGHTS.s21;
                const behind = others.filter((o) => sameAxis(o, picked)).map((o) => sight.of(o, z_ohm ?? NaN));
                const mine = sight.of(picked, z_ohm ?? NaN);
                const gauge = sight.kind ? SIGHTS[sightName === "Q" ? "L" : sightName].of(picked, z_ohm ?? NaN) : null;
                const from = gauge ? resolvedFrom(gauge) : 0;
                const cut = (/** @type {Float64Array} */ row) => row.subarray(from);
                const range = /** @type {[number, number]} */ (sightName === "phase" ? [-180, 180] : rangeOf([mine, ...behind].map(cut), sight.kind && sightName !== "Q" ? plateau(mine) : null));
                const hidden = from ? ` Drawn from ${hertz(picked.hz[from])}: below it noise hides ${sight.word}.` : "";
                const plain = sight.unit === "dB" || sight.unit === "°";
                const said = (/** @type {number} */ v, /** @type {number} */ digits) => plain || sight.unit === "1" ? String(Number(v.toPrecision(digits))).replace("-", "−") : quantity(v, sight.unit, digits);
                const font = `12px ${getComputedStyle(box).fontFamily}`;
                const axis = { stroke: ink(box, "--quiet"), grid: { stroke: ink(box, "--rule"), width: 1 }, ticks: { stroke: ink(box, "--rule"), width: 1, size: 4 }, font };
                plot = new uPlot({
                        ...size(),
                        padding: [10, 14, 0, 0],
                        legend: { show: false },
                        cursor: { drag: { x: true, y: false }, points: { size: 7 } },
                        scales: { x: { distr: 3, time: false, range: (/** @type {any} */ _u, /** @type {number} */ low, /** @type {number} */ high) => [low, high] },
                                y: { range } },
                        axes: [{ ...axis, splits: (/** @type {any} */ u) => decades(u.scales.x.min, u.scales.x.max), values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map(hertz) },
                                { ...axis, size: sight.kind ? 70 : 50, values: (/** @type {any} */ _u, /** @type {number[]} */ at) => at.map((v) => said(v, 3)) }],
                        series: [{}, ...behind.map(() => ({ stroke: ink(box, "--behind"), width: 1, points: { show: false } })),
                                { stroke: ink(box, "--ink"), width: 2, points: { show: false } }],
                        hooks: { setCursor: [(/** @type {any} */ u) => {
                                const i = u.cursor.idx === null || u.cursor.idx === undefined ? -1 : u.cursor.idx + from;
                                read(i < 0 ? "" : `${sight.word} at ${quantity(picked.hz[i], "Hz", 4)}: ${said(mine[i], 4)}${plain ? ` ${sight.unit}` : ""}`);
                        }] },
                }, [Array.from(picked.hz.subarray(from)), ...behind.map((row) => tamed(cut(row), range)), tamed(cut(mine), range)], box);
                note(hidden);
                plot.root.setAttribute("role", "img");
                plot.root.setAttribute("aria-label", `${sight.word} from ${hertz(picked.hz[0])} to ${hertz(picked.hz[picked.n - 1])}, `
                        + `from ${said(mine[0], 3)} to ${said(mine[mine.length - 1], 3)}${plain ? ` ${sight.unit}` : ""}; `
                        + `${behind.length} other dies behind it. The numbers are in the Touchstone file below.`);
        };
        return { draw, close: () => { close(); watch.disconnect(); scheme.removeEventListener("change", onScheme); } };
}
