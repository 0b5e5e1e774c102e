// Sound: made here, from the audio clock; a sound asks for something to be done. Off until the first press on the page,
// as browsers want it.

const root = document.documentElement;
const STALE_S = 1;
const LOOK_MS = 250;
/** Loudness: full, 12 dB and 20 dB below. */
const FULL = 0.7, QUIETER = 0.18, FAINT = 0.07;

/** Notes: from Hz, to Hz, seconds, and seconds of silence after it. A moving pitch for the graver call. */
const RISE = [500, 1000, 0.25, 0.25];
const PULSE = [400, 400, 0.2, 0.2];
const SOUNDS = {
  stop: { notes: Array(6).fill(RISE), every: 5, loud: FULL, shake: [800, 200, 800, 200, 800] },
  loss: { notes: Array(3).fill(PULSE), every: 15, loud: FULL, shake: [400, 200, 400] },
  dead: { notes: [[700, 450, 0.35, 0.1], [700, 450, 0.35, 0.1]], loud: FULL },
  again: { notes: [[500, 500, 0.12, 0.05], [700, 700, 0.12, 0]], loud: QUIETER, shake: [150] },
  ear: { notes: [[800, 800, 0.04, 0]], every: 5, loud: FAINT },
};

let context = null;
let armed = null;
let playing = '';
let nextAt = 0;
let call = root.dataset.call;
/** Something sounded since the last Proceed. A Hold by turn is silent, and so is its end: it comes with every step, and
    who hears a sound for each of them hears none of them. */
let disturbed = false;

/** Plays notes from a moment of the audio clock on; what comes back can still be called off. */
function play({ notes, loud }, from) {
  const tone = context.createOscillator();
  const volume = context.createGain();
  // Five harmonics of about the same strength are heard where one is masked.
  tone.type = 'sawtooth';
  tone.connect(volume);
  volume.connect(context.destination);
  volume.gain.value = 0;
  let at = from;
  for (const [low, high, length, pause] of notes) {
    tone.frequency.setValueAtTime(low, at);
    tone.frequency.linearRampToValueAtTime(high, at + length);
    volume.gain.setValueAtTime(0, at);
    volume.gain.linearRampToValueAtTime(loud, at + Math.min(0.02, length / 4));
    volume.gain.setValueAtTime(loud, at + length * 0.9);
    volume.gain.linearRampToValueAtTime(0, at + length);
    at += length + pause;
  }
  tone.start(from);
  tone.stop(at);
  return tone;
}

function once(name) {
  const sound = SOUNDS[name];
  root.dataset.sounded = name;
  if (sound.shake) navigator.vibrate?.(sound.shake);
  play(sound, context.currentTime + 0.02);
}

/** A tick of the node: the sound of a dead page is put off by a second. It is on the audio clock, so that it comes even
    when no script runs any longer. */
export function heard() {
  if (!context) return;
  armed?.stop();
  armed = play(SOUNDS.dead, context.currentTime + STALE_S);
}

function look() {
  if (!context) return;
  const before = call;
  call = root.dataset.call;
  if (call === 'proceed' && before !== 'proceed' && root.matches('.live-ok')) {
    if (disturbed) once('again');
    disturbed = false;
  }
  const observing = root.dataset.page === 'observer' && call === 'proceed' && root.matches('.live-ok');
  const wanted = document.querySelector('main').dataset.sound || (observing ? 'ear' : '');
  if (wanted !== playing) nextAt = 0;
  playing = wanted;
  disturbed ||= wanted === 'stop' || wanted === 'loss';
  if (wanted && context.currentTime >= nextAt) {
    nextAt = context.currentTime + SOUNDS[wanted].every;
    once(wanted);
  }
}

async function stayOn() {
  try {
    const lock = await navigator.wakeLock?.request('screen');
    root.dataset.awake = lock ? 'yes' : 'no';
  } catch {
    // Not given, as on low battery: the screen goes dark when the device says so.
    root.dataset.awake = 'no';
  }
}

/** The stop's sound, once, to be heard before it is needed. */
export function test() {
  if (context) once('stop');
}

/** The start press. */
export function start() {
  context ??= new AudioContext();
  context.resume();
  root.dataset.sound = 'on';
  once('again');
  stayOn();
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden) stayOn();
  });
}

setInterval(look, LOOK_MS);
