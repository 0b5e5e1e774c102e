// Camera: reads the code of an item where the browser can; a typed code always does.
const LOOK_MS = 200;
/** So long it looks, then the camera rests. */
const GIVE_UP_MS = 30000;

const able = () => 'BarcodeDetector' in globalThis && Boolean(navigator.mediaDevices?.getUserMedia);

/** Shows the control where it does something. */
export function offer() {
  if (!able()) return;
  for (const one of document.querySelectorAll('[data-control=camera]')) one.hidden = false;
}

async function read(button) {
  const form = button.form;
  const into = form.elements[button.dataset.into];
  const answer = form.querySelector('.answer');
  const video = document.createElement('video');
  video.className = 'camera-view';
  video.muted = true;
  video.playsInline = true;
  let stream = null;
  let found = '';
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: 'environment' } });
    video.srcObject = stream;
    form.querySelector('.seen').replaceChildren(video);
    video.play().catch(() => {});
    const detector = new BarcodeDetector();
    const end = performance.now() + GIVE_UP_MS;
    while (!found && performance.now() < end && video.isConnected) {
      const shows = video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA;
      const codes = shows ? await detector.detect(video) : [];
      found = codes[0]?.rawValue ?? '';
      if (!found) await new Promise((again) => setTimeout(again, LOOK_MS));
    }
  } catch {
    answer.textContent = button.dataset.unseen;
  }
  for (const track of stream?.getTracks() ?? []) track.stop();
  video.remove();
  if (found) into.value = found;
}

addEventListener('click', (event) => {
  const button = event.target.closest?.('[data-control=camera]');
  if (button) read(button);
});
