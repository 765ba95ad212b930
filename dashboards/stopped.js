// Says that the page stands still, counted by the browser's own clock: a server that hangs cannot say so.
// The page calls this with a new tick at each refresh, one a second. STOPPED_AFTER_MS is six of them in a row that did
// not come: on a machine given five times the work that it can do, two were at most 1.1 s apart, and the rest is for
// networks that lose things.
const STOPPED_AFTER_MS = 6000;
const STATE = (window.so2benchStopped ??= {});

function silentMs() {
  // The larger: a clock that is set back makes nothing younger, nor does the sleep of a machine, which stops the other.
  return Math.max(Date.now() - STATE.heardAt, performance.now() - STATE.heard);
}

function span(ms) {
  const s = Math.floor(ms / 1000), min = Math.floor(s / 60), two = n => String(n).padStart(2, "0");
  if (s < 60) return `${s} s`;
  return s < 3600 ? `${min} min ${two(s % 60)} s` : `${Math.floor(min / 60)} h ${two(min % 60)} min`;
}

function look() {
  const said = STATE.root.querySelector("dialog"), ms = silentMs();
  if (ms < STOPPED_AFTER_MS) {
    if (said.open) said.close();
  } else if (STATE.root.isConnected) { // else another page is shown, which has no numbers of now
    said.querySelector(".since").textContent = new Date(STATE.heardAt).toLocaleTimeString("en-GB");
    said.querySelector(".age").textContent = span(ms);
    if (!said.open) said.showModal(); // nothing under it can be used: a press would wait, and count who knows when
  }
}

export default function ({ parentElement, data }) {
  if (data.tick !== STATE.tick) Object.assign(STATE, { tick: data.tick, heard: performance.now(), heardAt: Date.now() });
  STATE.root = parentElement;
  parentElement.querySelector(".look").textContent = data.look;
  parentElement.querySelector("dialog").oncancel = event => event.preventDefault(); // the Escape key takes it away
  STATE.timer ??= setInterval(look, 500);
  look();
}
