/* ribbon.js: the night from left to right.
 * Idea      One tick per touchdown (height: the DC reading as share of what the device allows, logarithmic), a band of drift per port in per cent of what is
 *           allowed, a gate per check, a notch per intervention.  What lies right of the last gate is measured, not yet proven, and drawn lighter. */
import { s, span, count } from "./dom.js";
import { ENDED_BY } from "./words.js";

/** @typedef {import("./api.js").Ribbon} Ribbon */
/** @typedef {{from: number, to: number}} Stretch */
/** @typedef {{ribbon: Ribbon, shares: Map<number, number>, total_s: number, now_s: number|null, picked: string, stretch: Stretch|null}} RibbonView */
/** @typedef {{onStretch: (stretch: Stretch|null) => void}} RibbonActions */

const TOP = 16, TICKS = 88, UNDER = 15, BAND = 24, BAND_GAP = 9, AXIS = 20;
const HEIGHT_MIN = 5;
const CLIP = 1.25; // drift beyond this share touches the band's top

/** @param {import("./api.js").PortModes|undefined} port @param {Partial<import("./api.js").PortModes>} limits @returns {number} share of what is allowed, of what is nearest to its limit */
const shareOf = (port, limits) => port ? Math.max(...(/** @type {const} */ (["delay_fs", "loss_db"])).map((k) => limits[k] ? Math.abs(port[k] ?? 0) / /** @type {number} */ (limits[k]) : 0)) : 0;

/** @param {Ribbon} ribbon @returns {{label: string, say: string, of: (c: import("./api.js").RibbonCheck) => number}[]} */
function bandsOf(ribbon) {
        const limits = ribbon.limits;
        if (!limits)
                return [{ label: "drift", say: "worst of both ports", of: (c) => c.modes?.worst_share ?? 0 }];
        return [{ label: "drift 1", say: "port 1", of: (c) => shareOf(c.modes?.port1, limits) }, { label: "drift 2", say: "port 2", of: (c) => shareOf(c.modes?.port2, limits) }];
}

/** Height of a tick. @param {number|undefined} share */
const heightOf = (share) => share && share > 0 ? Math.max(HEIGHT_MIN, TICKS * Math.min(1, (Math.log10(share) + 2) / 2)) : HEIGHT_MIN;

/** Was this interval closed, and by a check that passed? @param {Ribbon} ribbon @param {import("./api.js").RibbonInterval} v */
const fateOf = (ribbon, v) => v.closed === null ? "open" : ribbon.checks.find((c) => c.seq === v.closed)?.passed ? "proven" : "suspect";

/** The ticks, gathered into one path per kind: a night has thousands. */
function ticks(/** @type {RibbonView} */ view, /** @type {(t: number) => number} */ at, /** @type {number} */ base) {
        /** @type {Record<string, string[]>} */
        const paths = {};
        const last_gate = Math.max(-1, ...view.ribbon.checks.map((c) => c.seq));
        const add = (/** @type {string} */ kind, /** @type {string} */ d) => (paths[kind] ??= []).push(d);
        for (const touch of view.ribbon.touches) {
                if (touch.t_s === null)
                        continue;
                const x = at(touch.t_s).toFixed(1);
                if (touch.place !== "wafer" || !touch.die) {
                        add("standard", `M${x} ${base + 3}v7`);
                        continue;
                }
                const open = touch.seq > last_gate ? " later" : "";
                const absent = touch.outcome === "absent", doubtful = touch.outcome === "doubtful";
                const high = absent || doubtful ? TICKS : heightOf(view.shares.get(touch.seq));
                add(`${doubtful ? "doubtful" : "plain"}${open}`, `M${x} ${base}v${-high.toFixed(1)}`);
                if (absent)
                        add(`absent${open}`, `M${x} ${base - TICKS - 6.5}m-2.6 0a2.6 2.6 0 1 0 5.2 0a2.6 2.6 0 1 0 -5.2 0`);
                if (touch.attempt > 1)
                        add("again", `M${x} ${base + 2.5}l-2.5 4.5h5z`);
                if (view.picked && `${touch.die.x},${touch.die.y}` === view.picked)
                        add("mine", `M${x} ${base}v${-high.toFixed(1)}`);
        }
        const crowd = (at(view.total_s) - at(0)) / Math.max(1, view.ribbon.touches.length); // room of one tick
        const thin = Math.max(0.4, Math.min(1.15, crowd * 0.55)).toFixed(2);
        return Object.entries(paths).map(([kind, d]) => s("path", { class: `tick ${kind}`, "stroke-width": kind.startsWith("plain") ? thin : null, d: d.join("") }));
}

function gate(/** @type {import("./api.js").RibbonCheck} */ check, /** @type {number} */ x, /** @type {number} */ bottom) {
        return s("g", { class: check.passed ? "gate passed" : "gate failed" },
                s("title", {}, check.modes?.sentence ?? (check.passed ? "check passed" : "check failed")),
                s("rect", { x: x - 2, y: TOP - 8, width: 4, height: bottom - TOP + 8 }),
                check.passed ? null : s("path", { d: `M${x - 6} ${TOP - 14}l12 12m0 -12l-12 12` }));
}

function band(/** @type {RibbonView} */ view, /** @type {ReturnType<typeof bandsOf>[0]} */ b, /** @type {(t: number) => number} */ at, /** @type {number} */ top, /** @type {number} */ end) {
        const y = (/** @type {number} */ share) => top + BAND - BAND * Math.min(CLIP, share) / CLIP;
        const points = view.ribbon.checks.filter((c) => c.t_s !== null).map((c) => ({ x: at(/** @type {number} */ (c.t_s)), share: b.of(c) }));
        const line = points.map((p, i) => `${i ? "L" : "M"}${p.x.toFixed(1)} ${y(p.share).toFixed(1)}`).join("");
        const first = points[0], last = points[points.length - 1];
        return s("g", { class: "band" },
                s("line", { class: "allowed", x1: at(0), x2: end, y1: y(1), y2: y(1) }),
                s("line", { class: "zero", x1: at(0), x2: end, y1: top + BAND, y2: top + BAND }),
                first ? s("path", { class: "drift-area", d: `${line}L${last.x.toFixed(1)} ${top + BAND}L${first.x.toFixed(1)} ${top + BAND}Z` }) : null,
                first ? s("path", { class: "drift-line", d: line }) : null,
                ...points.map((p) => s("rect", { class: "drift-point", x: p.x - 2.5, y: y(p.share) - 2.5, width: 5, height: 5 })));
}

/** Hours and minutes under the night. */
function axis(/** @type {number} */ total_s, /** @type {(t: number) => number} */ at, /** @type {number} */ top, /** @type {number} */ width) {
        const steps = [30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200];
        const step = steps.find((n) => width * n / total_s >= 84) ?? 86400;
        const out = [];
        for (let t = 0; t <= total_s * 1.0001; t += step)
                out.push(s("line", { class: "tooth", x1: at(t), x2: at(t), y1: top, y2: top + 4 }),
                        at(total_s) - at(t) < 24 && t > 0 ? null : s("text", { x: at(t), y: top + 15, "text-anchor": t === 0 ? "start" : "middle" }, t === 0 ? "0" : span(t)));
        return out;
}

/** What a stretch holds, in words. @param {Ribbon} ribbon @param {Stretch} stretch */
export function stretchWords(ribbon, stretch) {
        const inside = ribbon.touches.filter((t) => t.t_s !== null && t.t_s >= stretch.from && t.t_s <= stretch.to);
        const dies = new Set(inside.filter((t) => t.die).map((t) => `${t.die?.x},${t.die?.y}`));
        const v = ribbon.intervals.find((i) => i.from_s === stretch.from && (i.to_s === stretch.to || i.to_s === null));
        const what = v ? `Interval ${v.id}, ${v.closed === null ? "still open" : `closed by ${ENDED_BY[v.ended_by ?? ""] ?? "a check"}, ${fateOf(ribbon, v)}`}` : "Stretch";
        return `${what}: ${count(inside.length, "touch", "touches")} on ${count(dies.size, "die", "dies")}, ${span(stretch.from)} to ${span(stretch.to)}.`;
}
/** @param {Ribbon} ribbon @param {Stretch} stretch @returns {Set<string>} keys of the dies touched in it */
export const stretchDies = (ribbon, stretch) => new Set(ribbon.touches.filter((t) => t.die && t.t_s !== null && t.t_s >= stretch.from && t.t_s <= stretch.to).map((t) => `${t.die?.x},${t.die?.y}`));

/** @param {HTMLElement} box @param {RibbonActions} actions @returns {(view: RibbonView|null) => void} */
export function makeRibbon(box, actions) {
        /** @type {RibbonView|null} */
        let view = null;
        let dragged = -1, left = 58, width = 600;

        const timeAt = (/** @type {number} */ client_x) => {
                const box_x = box.getBoundingClientRect().left + left;
                return Math.max(0, Math.min(1, (client_x - box_x) / (width - left - 8))) * (view?.total_s ?? 1);
        };
        const whole = (/** @type {import("./api.js").RibbonInterval} */ v) => ({ from: v.from_s ?? 0, to: v.to_s ?? view?.total_s ?? 0 });
        const onKey = (/** @type {KeyboardEvent} */ event) => {
                const list = view?.ribbon.intervals ?? [];
                const at = view?.stretch ? list.findIndex((v) => v.from_s === view?.stretch?.from) : -1;
                if (event.key === "Escape")
                        actions.onStretch(null);
                else if ((event.key === "ArrowRight" || event.key === "ArrowUp") && list.length)
                        actions.onStretch(whole(list[Math.min(list.length - 1, at + 1)]));
                else if ((event.key === "ArrowLeft" || event.key === "ArrowDown") && list.length)
                        actions.onStretch(whole(list[Math.max(0, at - 1)]));
                else if (event.key === "Home" && list.length)
                        actions.onStretch(whole(list[0]));
                else if (event.key === "End" && list.length)
                        actions.onStretch(whole(list[list.length - 1]));
                else
                        return;
                event.preventDefault();
        };
        const onDown = (/** @type {PointerEvent} */ event) => {
                dragged = timeAt(event.clientX);
                /** @type {Element} */ (event.currentTarget).setPointerCapture(event.pointerId);
        };
        const onUp = (/** @type {PointerEvent} */ event) => {
                if (dragged < 0 || !view)
                        return;
                const a = Math.min(dragged, timeAt(event.clientX)), b = Math.max(dragged, timeAt(event.clientX));
                dragged = -1;
                const small = (b - a) / view.total_s * width < 5;
                const hit = view.ribbon.intervals.find((v) => a >= (v.from_s ?? 0) && a <= (v.to_s ?? view?.total_s ?? 0));
                const same = hit && view.stretch && view.stretch.from === whole(hit).from;
                actions.onStretch(!small ? { from: a, to: b } : hit && !same ? whole(hit) : null);
        };

        const draw = () => {
                if (!view) {
                        box.replaceChildren();
                        return;
                }
                const v = view, total = Math.max(1, v.total_s), bands = bandsOf(v.ribbon);
                width = Math.max(280, box.clientWidth);
                left = width < 520 ? 46 : 58;
                const at = (/** @type {number} */ t) => left + t / total * (width - left - 8);
                const base = TOP + TICKS + 6, bands_top = base + UNDER, end = width - 8;
                const bottom = bands_top + bands.length * (BAND + BAND_GAP);
                const now = v.now_s;
                const slider = s("rect", { class: "brush", x: left, y: 0, width: width - left, height: bottom, fill: "none", tabindex: "0", role: "slider", "aria-label": "Interval of the night",
                        "aria-valuemin": "0", "aria-valuemax": String(v.ribbon.intervals.length), "aria-valuenow": String(v.stretch ? v.ribbon.intervals.findIndex((i) => i.from_s === v.stretch?.from) + 1 : 0),
                        "aria-valuetext": v.stretch ? stretchWords(v.ribbon, v.stretch) : "whole night; arrow keys choose an interval", keydown: onKey, pointerdown: onDown, pointerup: onUp });
                const had = box.contains(document.activeElement);
                box.replaceChildren(s("svg", { width, height: bottom + AXIS, viewBox: `0 0 ${width} ${bottom + AXIS}`, role: "group", "aria-label": "The night as a ribbon" },
                        v.stretch ? s("rect", { class: "stretch", x: at(v.stretch.from), y: 2, width: Math.max(2, at(v.stretch.to) - at(v.stretch.from)), height: bottom - 4 }) : null,
                        s("text", { class: "label", x: 0, y: base - TICKS / 2 }, "contact"),
                        s("line", { class: "allowed", x1: left, x2: end, y1: base - TICKS, y2: base - TICKS }),
                        s("line", { class: "zero", x1: left, x2: end, y1: base, y2: base }),
                        ...v.ribbon.intervals.filter((i) => i.from_s !== null).map((i) => s("line", { class: `fate ${fateOf(v.ribbon, i)}`, x1: at(i.from_s ?? 0) + 3, x2: at(i.to_s ?? Math.max(now ?? 0, i.from_s ?? 0)) - 3, y1: base + 1.5, y2: base + 1.5 })),
                        ...ticks(v, at, base),
                        ...bands.flatMap((b, i) => [s("text", { class: "label", x: 0, y: bands_top + i * (BAND + BAND_GAP) + BAND - 5 }, b.label), band(v, b, at, bands_top + i * (BAND + BAND_GAP), end)]),
                        ...v.ribbon.checks.filter((c) => c.t_s !== null).map((c) => gate(c, at(/** @type {number} */ (c.t_s)), bottom - BAND_GAP)),
                        now !== null ? s("rect", { class: "gate waiting", x: at(now) - 2, y: TOP - 8, width: 4, height: bottom - BAND_GAP - TOP + 8 }) : null,
                        ...v.ribbon.intervals.filter((i) => i.ended_by === "intervention" && i.to_s !== null).map((i) => s("path", { class: "notch", d: `M${at(/** @type {number} */ (i.to_s)) - 6} 0h12l-6 9z` })),
                        ...axis(total, at, bottom, width - left),
                        slider));
                if (had)
                        /** @type {HTMLElement|null} */ (box.querySelector(".brush"))?.focus({ preventScroll: true });
        };
        new ResizeObserver(() => { if (Math.abs(box.clientWidth - width) > 1) draw(); }).observe(box);
        return (next) => { view = next; draw(); };
}
