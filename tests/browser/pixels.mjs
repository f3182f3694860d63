// pixels.mjs: reads a wafer from its picture alone, the way somebody does who sees no colour: which mark, which border.
// Colour-vision deficiencies: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
// IEEE Trans. Visualization and Computer Graphics 15 (2009), table 1, severity 1.0, on linear RGB.  Grey: relative luminance of WCAG 2.

const SEEN = {
        full: [1, 0, 0, 0, 1, 0, 0, 0, 1],
        protan: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
        deutan: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
        tritan: [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
};
export const SIGHTS = ["grey", "protan", "deutan", "tritan"];

const LINEAR = Float64Array.from({ length: 256 }, (_, v) => v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
const clip = (x) => Math.min(1, Math.max(0, x));

/** Linear RGB as this eye has it, three numbers a pixel; grey has three equal ones. */
export function seenBy(sight, { rgba, width, height }) {
        const m = SEEN[sight] ?? SEEN.full, out = new Float32Array(width * height * 3);
        for (let i = 0; i < width * height; i++) {
                const r = LINEAR[rgba[4 * i]], g = LINEAR[rgba[4 * i + 1]], b = LINEAR[rgba[4 * i + 2]];
                const c = [0, 1, 2].map((k) => clip(m[3 * k] * r + m[3 * k + 1] * g + m[3 * k + 2] * b));
                const y = 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2];
                out.set(sight === "grey" ? [y, y, y] : c, 3 * i);
        }
        return { width, height, y: (x, row) => {
                const i = 3 * (Math.min(height - 1, Math.max(0, Math.round(row))) * width + Math.min(width - 1, Math.max(0, Math.round(x))));
                return 0.2126 * out[i] + 0.7152 * out[i + 1] + 0.0722 * out[i + 2];
        } };
}

export const contrast = (a, b) => (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
const INKED = 0.35; // of the way from the ground to the ink: a stroke may meet half a pixel

const light = (y) => Math.cbrt(y); // lightness as people see it (CIE L* but for its offset), so that half a pixel of ink is half the way in either scheme

/** The ink of a picture: what is furthest from its ground (the corner). @param {ReturnType<typeof seenBy>} image */
function inkOf(image) {
        const ground = image.y(1, 1);
        let far = ground;
        for (let row = 0; row < image.height; row++)
                for (let x = 0; x < image.width; x++) {
                        const y = image.y(x, row);
                        if (Math.abs(y - ground) > Math.abs(far - ground))
                                far = y;
                }
        return far;
}

/** The lengths of stretches of true. */
function stretches(row) {
        const out = [];
        let n = 0;
        for (const on of [...row, false])
                if (on)
                        n++;
                else if (n) {
                        out.push(n);
                        n = 0;
                }
        return out;
}

/** What a box of the picture shows. @returns {{mark: string, border: string}} */
export function readDie(image, box) {
        const full = image.ink ??= inkOf(image);
        const { x, y, w, h } = box, size = Math.min(w, h);
        // the ground of the die: a calm place beside number and mark
        const fill = [[0.5, 0.5], [0.22, 0.55], [0.78, 0.55]].map(([a, b]) => image.y(x + a * w, y + b * h)).sort((a, b) => a - b)[1];
        const ink = (px, py) => (light(image.y(px, py)) - light(fill)) / (light(full) - light(fill)) >= INKED;
        const n = Math.round(size) * 2;
        const deep = [-0.25, 0.25, 0.75, 1.25].filter((d) => d <= Math.max(1, size * 0.06)); // how far inside a border may lie, in pixels from the edge
        const side = (at) => Array.from({ length: n }, (_, i) => 0.12 + 0.76 * (i + 0.5) / n).map((t) => deep.some((d) => ink(...at(t, d))));
        const sides = [side((t, d) => [x + t * w, y + d]), side((t, d) => [x + t * w, y + h - 1 - d]), side((t, d) => [x + d, y + t * h]), side((t, d) => [x + w - 1 - d, y + t * h])];
        const share = sides.flat().filter(Boolean).length / (4 * n);
        let border = "unknown";
        if (share > 0.97) {
                // a second line inside the first, with ground between
                const into = Array.from({ length: Math.round(size * 0.2) + 1 }, (_, d) => ink(x + w * 0.25, y + h - d));
                border = stretches(into).length >= 2 ? "rescued" : "proven";
        } else if (share > 0.15) {
                const longest = sides.map((one) => Math.max(0, ...stretches(one))).sort((a, b) => a - b)[2];
                border = longest / n * 0.76 > 0.145 ? "suspect" : "open";
        }
        const row = (at) => Array.from({ length: n }, (_, i) => ink(x + w * (0.25 + 0.5 * (i + 0.5) / n), y + h * at));
        const middle = row(0.7), on = middle.filter(Boolean).length / n;
        const left = middle.slice(0, n >> 1).filter(Boolean).length / (n >> 1);
        let mark = "nothing";
        if (on > 0.9)
                mark = "bar";
        else if (left > 0.75)
                mark = "half";
        else if (stretches(middle).length === 2)
                mark = "ring";
        else if (on > 0.03)
                mark = "dot";
        return { mark, border };
}
