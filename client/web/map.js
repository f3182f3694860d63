/* map.js: the wafer.  Knows neither network nor clock: a view of what app.js hands it. */
import { s, short, count } from "./dom.js";
import { drawBorder, drawMark, stepOf } from "./face.js";
import { notchWords } from "./words.js";

/** @typedef {import("./api.js").WaferMap} WaferMap */
/** @typedef {import("./face.js").Face} Face */
/**
 * @typedef {{map: WaferMap, faces: Map<string, Face>, ramp: import("./face.js").Ramp|null, scale: number, spread: number, picked: string, marked: Set<string>,
 *            sentence: (key: string) => string}} MapView
 * @typedef {{onPick: (key: string) => void, onWalk: (key: string) => void}} MapActions
 */

const ROOM = 520; // the drawing's own units; the page scales it
export const dieKey = (/** @type {{x: number, y: number}} */ die) => `${die.x},${die.y}`;

/** Where the dies lie in the drawing. @param {WaferMap} map */
function placement(map) {
        const radius_um = (map.diameter_mm ?? 100) * 500;
        const unit = (ROOM / 2 - 14) / radius_um;
        const w = (map.pitch_x_um ?? 1) * unit, height = (map.pitch_y_um ?? 1) * unit;
        const gap = Math.max(0.8, Math.min(w, height) * 0.045);
        return { unit, radius: radius_um * unit, w: w - 2 * gap, height: height - 2 * gap,
                at: (/** @type {{x: number, y: number}} */ die) => ({
                        x: ROOM / 2 + ((map.offset_x_um ?? 0) + die.x * (map.pitch_x_um ?? 0)) * unit - w / 2 + gap,
                        y: ROOM / 2 - ((map.offset_y_um ?? 0) + die.y * (map.pitch_y_um ?? 0)) * unit - height / 2 + gap }) };
}

/** The rim with its notch. @param {WaferMap} map @param {number} radius */
function drawRim(map, radius) {
        const turn = -(map.notch_deg ?? 270) * Math.PI / 180, half = 0.035, depth = radius * 0.045;
        const p = (/** @type {number} */ angle, /** @type {number} */ r) => `${ROOM / 2 + r * Math.cos(angle)} ${ROOM / 2 + r * Math.sin(angle)}`;
        return [s("path", { class: "rim", d: `M ${p(turn + half, radius)} A ${radius} ${radius} 0 1 1 ${p(turn - half, radius)} L ${p(turn, radius - depth)} Z` })];
}

/** Two arrows: which way x and y of the dies go. */
function drawAxes() {
        const x = 12, y = ROOM - 12, long = 34;
        return s("g", { class: "axes", "aria-hidden": "true" },
                s("path", { d: `M ${x} ${y - long} V ${y} H ${x + long} M ${x - 3.5} ${y - long + 6} L ${x} ${y - long} L ${x + 3.5} ${y - long + 6} M ${x + long - 6} ${y - 3.5} L ${x + long} ${y} L ${x + long - 6} ${y + 3.5}` }),
                s("text", { x: x + long + 5, y: y + 4 }, "x"), s("text", { x: x - 4, y: y - long - 5 }, "y"));
}

/** The next die in a direction: nearest along it, little sideways. */
function neighbour(/** @type {{x: number, y: number}[]} */ dies, /** @type {{x: number, y: number}} */ from, /** @type {number} */ dx, /** @type {number} */ dy) {
        let best = null, least = Infinity;
        for (const die of dies) {
                const along = (die.x - from.x) * dx + (die.y - from.y) * dy, aside = Math.abs((die.x - from.x) * dy) + Math.abs((die.y - from.y) * dx);
                if (along > 0 && along + 3 * aside < least)
                        [best, least] = [die, along + 3 * aside];
        }
        return best;
}

/** @type {Record<string, [number, number]>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/**
 * Makes a wafer in `box`; the returned function draws it anew and keeps the keyboard's place.
 * @param {HTMLElement} box @param {MapActions} actions @returns {(view: MapView) => void}
 */
export function makeMap(box, actions) {
        let here = "";
        /** @type {MapView|null} */
        let view = null;
        /** @type {Map<string, {group: SVGElement, look: string}>} */
        const groups = new Map();
        let frame = "";

        const walkTo = (/** @type {string} */ key) => {
                groups.get(here)?.group.setAttribute("tabindex", "-1");
                here = key;
                const group = groups.get(key)?.group;
                group?.setAttribute("tabindex", "0");
                group?.focus();
                actions.onWalk(key);
        };
        const onKey = (/** @type {KeyboardEvent} */ event) => {
                const dies = view?.map.dies ?? [];
                const from = dies.find((d) => dieKey(d) === here);
                if (!from || event.ctrlKey || event.altKey || event.metaKey)
                        return;
                const arrow = ARROWS[event.key];
                const at = dies.indexOf(from);
                const next = arrow ? neighbour(dies, from, ...arrow)
                        : event.key === "Home" ? dies[0] : event.key === "End" ? dies[dies.length - 1]
                        : event.key === "PageDown" ? dies[at + 1] : event.key === "PageUp" ? dies[at - 1] : undefined;
                if (event.key === "Enter" || event.key === " ")
                        actions.onPick(here);
                else if (next)
                        walkTo(dieKey(next));
                else if (!arrow)
                        return;
                event.preventDefault();
        };

        const drawDie = (/** @type {import("./api.js").MapDie} */ die, /** @type {ReturnType<typeof placement>} */ place, /** @type {Face} */ face, /** @type {MapView} */ v) => {
                const { x, y } = place.at(die), { w, height } = place, key = dieKey(die);
                const step = v.ramp && face.value !== null && Number.isFinite(face.value) ? stepOf(v.ramp, face.value) : -1;
                const number = step >= 0 && w >= 28 ? short(/** @type {number} */ (face.value), v.scale, v.spread) : "";
                const group = groups.get(key)?.group ?? s("g", { class: "die", role: "button", tabindex: "-1", "data-die": key,
                        click: () => { walkTo(key); actions.onPick(key); }, focus: () => { if (here !== key) walkTo(key); } });
                group.setAttribute("aria-label", v.sentence(key));
                group.setAttribute("aria-pressed", String(v.picked === key));
                group.setAttribute("class", `die${v.picked === key ? " picked" : ""}${v.marked.size && !v.marked.has(key) ? " aside" : ""}`);
                const look = [step, number, face.mark, face.border, x, y, w].join("|");
                if (groups.get(key)?.look !== look) {
                        group.replaceChildren(...[
                                s("rect", { class: step >= 0 ? `fill step${step}` : "fill none", x, y, width: w, height }),
                                number ? s("text", { class: "value", x: x + w / 2, y: y + height * 0.45, "aria-hidden": "true" }, number) : null,
                                drawMark(face.mark, x, y, w, height),
                                ...drawBorder(face.border, x, y, w, height),
                                s("rect", { class: "halo", x: x - 2, y: y - 2, width: w + 4, height: height + 4 }),
                        ].filter((part) => part !== null));
                }
                groups.set(key, { group, look });
                return group;
        };

        return (v) => {
                view = v;
                const dies = v.map.dies ?? [];
                const name = [v.map.run, v.map.diameter_mm, v.map.notch_deg, v.map.pitch_x_um, v.map.pitch_y_um, dies.length].join("|");
                if (frame !== name) {
                        frame = name;
                        groups.clear();
                }
                if (!dies.length) {
                        box.replaceChildren();
                        frame = "";
                        return;
                }
                if (!dies.some((d) => dieKey(d) === here))
                        here = v.picked && dies.some((d) => dieKey(d) === v.picked) ? v.picked : dieKey(dies[0]);
                const place = placement(v.map);
                const drawn = dies.map((die) => drawDie(die, place, /** @type {Face} */ (v.faces.get(dieKey(die))), v));
                if (!box.firstElementChild || box.firstElementChild.getAttribute("data-frame") !== frame) {
                        const label = `Wafer ${v.map.wafer ?? ""}, ${count(dies.length, "die", "dies")}, notch ${notchWords(v.map.notch_deg ?? 270)}. Arrow keys walk, Enter picks.`;
                        box.replaceChildren(s("svg", { class: "wafer", viewBox: `0 0 ${ROOM} ${ROOM}`, role: "group", "aria-label": label, "data-frame": frame, keydown: onKey },
                                ...drawRim(v.map, place.radius), drawAxes(), ...drawn));
                }
                groups.get(here)?.group.setAttribute("tabindex", "0");
        };
}
