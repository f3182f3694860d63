/* dom.js: elements and numbers.  Text goes in as text nodes only; there is no way here to hand markup to the browser. */

const SVG = "http://www.w3.org/2000/svg";

/**
 * @typedef {Record<string, string|number|boolean|null|undefined|((event: any) => void)>} Attributes
 * @typedef {Node|string|number|null|undefined|false} Child
 */

/** @param {Element} at @param {Attributes} attributes @param {Child[]} children */
function fill(at, attributes, children) {
        for (const [key, value] of Object.entries(attributes)) {
                if (value === null || value === undefined || value === false)
                        continue;
                if (typeof value === "function")
                        at.addEventListener(key, value);
                else
                        at.setAttribute(key, value === true ? "" : String(value));
        }
        for (const child of children)
                if (child !== null && child !== undefined && child !== false)
                        at.append(child instanceof Node ? child : String(child));
        return at;
}

/** @param {string} name @param {Attributes} [attributes] @param {...Child} children @returns {HTMLElement} */
export const h = (name, attributes = {}, ...children) => /** @type {HTMLElement} */ (fill(document.createElement(name), attributes, children));
/** @param {string} name @param {Attributes} [attributes] @param {...Child} children @returns {SVGElement} */
export const s = (name, attributes = {}, ...children) => /** @type {SVGElement} */ (fill(document.createElementNS(SVG, name), attributes, children));
/** @param {string} id @returns {HTMLElement} */
export const byId = (id) => {
        const found = document.getElementById(id);
        if (!found)
                throw new Error(`the page has no element ${id}`);
        return found;
};
/** Writes text only where it differs, so that live regions speak once. @param {Element} at @param {string} text */
export const say = (at, text) => {
        if (at.textContent !== text)
                at.textContent = text;
};

const PREFIXES = [[1e12, "T"], [1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"], [1e-15, "f"]];
const UNITS = /** @type {Record<string, string>} */ ({ ohm: "Ω", 1: "" });

/** @param {number} x @returns {[number, string]} the scale and its prefix, so that 1 <= |x|/scale < 1000 where there is one */
function prefix(x) {
        const size = Math.abs(x);
        const found = size > 0 ? PREFIXES.find(([scale]) => size >= /** @type {number} */ (scale) * 0.99995) : undefined;
        return /** @type {[number, string]} */ (size === 0 ? [1, ""] : found ?? PREFIXES[PREFIXES.length - 1]);
}

/** Which units take a prefix at all. @param {string} unit */
const scaled = (unit) => !["1", "", "percent"].includes(unit) && !unit.startsWith("dB");

/** @param {number|null|undefined} x @param {string} unit @param {number} [digits] @returns {string} such as "306.0 pH" */
export function quantity(x, unit, digits = 4) {
        if (x === null || x === undefined || !Number.isFinite(x))
                return "–";
        const [scale, p] = scaled(unit) ? prefix(x) : [1, ""];
        const word = `${p}${UNITS[unit] ?? unit}`;
        return `${figures(x / scale, digits)}${word ? `\u00a0${word}` : ""}`.replace("-", "−");
}

/** @param {number} x @param {number} digits */
const figures = (x, digits) => x === 0 ? "0" : Math.abs(x) >= 1e5 || Math.abs(x) < 1e-3 ? x.toExponential(digits - 1) : Number(x.toPrecision(digits)).toFixed(Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(x)))));

/** A value with its uncertainty, both in the value's unit. @param {number|null} x @param {number|null} u95 @param {string} unit */
export function withU95(x, u95, unit) {
        if (x === null || !Number.isFinite(x))
                return "–";
        if (u95 === null || !Number.isFinite(u95) || u95 <= 0)
                return quantity(x, unit);
        const [scale, p] = scaled(unit) ? prefix(x) : [1, ""];
        const places = Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(u95 / scale))));
        const word = `${p}${UNITS[unit] ?? unit}`;
        return `${(x / scale).toFixed(places)} ± ${(u95 / scale).toFixed(places)}${word ? `\u00a0${word}` : ""}`.replace("-", "−");
}

/** The number alone, short, for the middle of a die; scaled like all its neighbours. @param {number} x @param {number} scale @param {number} [spread] */
export const short = (x, scale, spread = 0) => {
        const v = x / scale;
        const by_spread = spread > 0 ? Math.ceil(-Math.log10(spread / scale / 20)) : 0;
        const places = Math.max(0, Math.min(by_spread, 4 - Math.max(1, Math.ceil(Math.log10(Math.abs(v) + 1e-12)))));
        return v.toFixed(places).replace("-", "−");
};
/** @param {number[]} values @param {string} unit @returns {{scale: number, unit: string}} one prefix for all of them */
export function commonScale(values, unit) {
        const middle = [...values].map(Math.abs).sort((a, b) => a - b)[values.length >> 1] ?? 1;
        const [scale, p] = scaled(unit) ? prefix(middle) : [1, ""];
        return { scale, unit: `${p}${UNITS[unit] ?? unit}` };
}

/** @param {number} seconds @returns {string} such as "1 h 42 min" */
export function span(seconds) {
        const whole = Math.round(seconds);
        if (whole < 90)
                return `${whole} s`;
        const minutes = Math.round(whole / 60);
        return minutes < 90 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
}
/** @param {number} n @param {string} one @param {string} many */
export const count = (n, one, many) => `${n} ${n === 1 ? one : many}`;
/** @param {string} iso @returns {string} the reader's own clock: "25 Nov 10:35" */
export const clock = (iso) => new Date(iso).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
