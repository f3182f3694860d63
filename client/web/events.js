/* events.js: the only module that listens.
 * Idea      One stream; it carries hints, never data.  The browser comes back by itself with Last-Event-ID; where it gives up (an HTTP error while the
 *           daemon restarts) the stream is opened again with the last id in the address.  How old what is shown may be is told from the last sign of life. */

const AGAIN_MS = 2000;
const TOPICS = ["map", "values", "check", "note"];

/**
 * @typedef {{onHint: (topic: string, data: any) => void, onReset: () => void, onLink: (open: boolean) => void}} Listener
 * @param {Listener} to
 * @returns {{close: () => void}}
 */
export function listen(to) {
        /** @type {EventSource|null} */
        let source = null;
        let lastId = "";
        let timer = 0;
        let closed = false;

        const tell = (/** @type {string} */ topic) => (/** @type {MessageEvent} */ event) => {
                if (event.lastEventId)
                        lastId = event.lastEventId;
                to.onLink(true);
                if (topic === "reset" || topic === "hello")
                        to.onReset();
                else
                        to.onHint(topic, read(event.data));
        };

        const open = () => {
                if (closed)
                        return;
                source = new EventSource(`api/v1/events${lastId ? `?last_event_id=${encodeURIComponent(lastId)}` : ""}`);
                for (const topic of [...TOPICS, "snapshot", "hello", "reset"])
                        source.addEventListener(topic, tell(topic));
                source.onopen = () => { to.onLink(true); to.onHint("open", {}); };
                source.onerror = () => {
                        to.onLink(false);
                        if (source?.readyState === EventSource.CLOSED) {
                                source = null;
                                clearTimeout(timer);
                                timer = window.setTimeout(open, AGAIN_MS);
                        }
                };
        };
        open();
        return { close: () => { closed = true; clearTimeout(timer); source?.close(); } };
}

/** @param {string} text @returns {any} */
function read(text) {
        try {
                return JSON.parse(text);
        } catch {
                return {};
        }
}
