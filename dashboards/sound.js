// Sounds what the page shows, once the browser allows it, and says plainly whether it does.
// The page calls this with new data each second; if no call comes for a while, the page has lost its server. That is
// sounded later than the page says it (stopped.js): what goes on by itself meanwhile need not startle anybody.
const LOST_AFTER_MS = 15000;
// A browser lets a page that is out of sight ask and look only once a minute, and one that slept not at all: what was
// not asked for is not missing.
const LOOKS_UNHEARD = 5;
const LOUD_EVERY_MS = 3000, SOFT_EVERY_MS = 20000;
const STATE = (window.so2benchSound ??= { heard: 0, looks: 0, say: "quiet", words: "", next: 0 });

function beep(from_s, hz, length_s) {
  const tone = STATE.audio.createOscillator(), volume = STATE.audio.createGain();
  tone.type = "square";
  tone.frequency.value = hz;
  volume.gain.setValueAtTime(0, from_s);
  volume.gain.linearRampToValueAtTime(0.4, from_s + 0.01);
  volume.gain.setValueAtTime(0.4, from_s + length_s - 0.01);
  volume.gain.linearRampToValueAtTime(0, from_s + length_s);
  tone.connect(volume).connect(STATE.audio.destination);
  tone.start(from_s);
  tone.stop(from_s + length_s);
}

function sound(say) {
  const now_s = STATE.audio.currentTime + 0.05;
  const pattern = { loud: [[0, 880], [0.3, 880], [0.6, 1175]], soft: [[0, 660]], trial: [[0, 660], [0.3, 880]] }[say];
  for (const [at_s, hz] of pattern) beep(now_s + at_s, hz, 0.2);
  STATE.sounded = (STATE.sounded ?? 0) + 1;
}

function look() {
  const now = Date.now();
  STATE.looks += 1;
  const here = STATE.root?.isConnected; // else another page is shown, which has no run to sound for
  const lost = here && now - STATE.heard > LOST_AFTER_MS && STATE.looks > LOOKS_UNHEARD;
  const say = !here ? "quiet" : lost ? "loud" : STATE.say;
  const allowed = STATE.audio?.state === "running";
  if (here) {
    const button = STATE.root.querySelector("button"), words = STATE.root.querySelector("p");
    button.hidden = allowed;
    words.textContent = allowed
      ? "This page sounds its alarms." + (lost ? " It has lost its server." : "")
      : "This page is silent: the browser lets it sound only after you have pressed here.";
    words.classList.toggle("silent", !allowed);
  }
  if (!allowed || say === "quiet") { STATE.next = 0; return; }
  if (now < STATE.next) return;
  STATE.next = now + (say === "loud" ? LOUD_EVERY_MS : SOFT_EVERY_MS);
  sound(say);
  if (say === "loud" && document.hidden && window.Notification?.permission === "granted") {
    new Notification(lost ? "so2bench: the page has lost its server" : STATE.words, { tag: "so2bench" });
  }
}

async function allow() {
  STATE.audio ??= new AudioContext();
  await STATE.audio.resume();
  sound("trial");
  if (window.Notification?.permission === "default") await Notification.requestPermission();
  look();
}

export default function ({ parentElement, data }) {
  STATE.root = parentElement;
  STATE.heard = Date.now();
  STATE.looks = 0;
  if (data.say !== STATE.say) STATE.next = 0;
  STATE.say = data.say;
  STATE.words = data.words;
  parentElement.querySelector("button").onclick = allow;
  STATE.timer ??= setInterval(look, 500);
  look();
}
