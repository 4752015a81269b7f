// The guide's time is up: by sound, flash and vibration, whichever screen is open; and the screen stays on till then.
import { effect, signal } from "./html.js";
import { local, store } from "./store.js";
import { isRunning, onTable, pourOf } from "../model/pour.js";

/** Sessions whose time is up and whose pour has not begun. */
export const overdue = signal(new Set());

const EVERY_MS = 250;
const PULSES_MS = [200, 100, 200, 100, 400];
let audio = null;
const signalled = new Set(); // infusions whose signal was given
let lock = null;

/** Browsers let a page sound only after a tap: call this in the tap that starts a timer. */
export function allowSound() {
  if (!local("sound", true)) return;
  audio ??= new AudioContext();
  audio.resume();
}

function sound() {
  if (!audio || !local("sound", true)) return;
  for (const [at, hertz] of [[0, 660], [0.25, 660], [0.5, 880]]) {
    const tone = new OscillatorNode(audio, { frequency: hertz });
    const volume = new GainNode(audio, { gain: 0 });
    const start = audio.currentTime + at;
    volume.gain.setTargetAtTime(0.5, start, 0.01);
    volume.gain.setTargetAtTime(0, start + 0.16, 0.03);
    tone.connect(volume).connect(audio.destination);
    tone.start(start);
    tone.stop(start + 0.4);
  }
}

function look() {
  const late = new Set();
  for (const session of onTable()) {
    const pour = pourOf(session);
    if (pour.phase !== "steeping" || !pour.target_s) continue;
    if (Date.now() - pour.filled < pour.target_s * 1000) continue;
    late.add(session);
    if (signalled.has(pour.infusion)) continue;
    signalled.add(pour.infusion);
    sound();
    if (local("vibration", true)) navigator.vibrate?.(PULSES_MS);
  }
  if ([...late].join() !== [...overdue.peek()].join()) overdue.value = late;
}

async function keepScreenOn() {
  const wanted = onTable().some((session) => isRunning(pourOf(session)));
  if (wanted && !lock && document.visibilityState === "visible") {
    try {
      lock = (await navigator.wakeLock?.request("screen")) ?? null;
      lock?.addEventListener("release", () => (lock = null));
    } catch {
      lock = null; // refused on low battery: sound and vibration still come
    }
  } else if (!wanted && lock) {
    await lock.release();
  }
}

/** Watch the timers of the table for as long as the page lives. */
export function watchTimers() {
  setInterval(look, EVERY_MS);
  document.addEventListener("visibilitychange", keepScreenOn);
  effect(() => {
    store.local("pours").value;
    store.local("table").value;
    keepScreenOn();
    look();
  });
}
