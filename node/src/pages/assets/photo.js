// Photo: makes a photo smaller before it is sent, and looks for one that has not come yet on a page that is read.

/** Longest side, in pixels: a cotter key is to be seen on it. */
const SIDE = 1600;
/** As good as it goes in so many bytes: a few seconds on the radio. */
const BYTES = 350 * 1024;
const QUALITIES = [0.85, 0.7, 0.5, 0.35];
/** So often is looked for a photo that has not come. */
const LOOK_MS = 4000;

/** The photo as a smaller JPEG, without what the camera wrote into it; as it is, where the browser cannot. */
async function smaller(file) {
  try {
    const photo = await createImageBitmap(file);
    const scale = Math.min(1, SIDE / Math.max(photo.width, photo.height));
    const canvas = document.createElement('canvas');
    canvas.width = Math.max(1, Math.round(photo.width * scale));
    canvas.height = Math.max(1, Math.round(photo.height * scale));
    const drawn = canvas.getContext('2d');
    drawn.fillStyle = '#fff';
    drawn.fillRect(0, 0, canvas.width, canvas.height);
    drawn.drawImage(photo, 0, 0, canvas.width, canvas.height);
    photo.close();
    let best = file;
    for (const quality of QUALITIES) {
      best = await new Promise((done) => canvas.toBlob(done, 'image/jpeg', quality)) ?? file;
      if (best.size <= BYTES) break;
    }
    return best;
  } catch {
    // The node says what is wrong with it.
    return file;
  }
}

/** Sends a form with a photo. */
export async function sent(fields) {
  const photo = fields.get('photo');
  if (photo?.size) fields.set('photo', await smaller(photo), 'photo');
  return fetch('/note', { method: 'POST', body: fields, credentials: 'same-origin' });
}

async function look() {
  for (const frame of document.querySelectorAll('.read .frame[data-photo]:not(:has(img))')) {
    const photo = new Image();
    photo.src = `/photo/${frame.dataset.photo}`;
    photo.alt = frame.parentElement.querySelector('figcaption').textContent;
    try {
      await photo.decode();
      frame.replaceChildren(photo);
    } catch {
      // Not here yet.
    }
  }
}

if (document.querySelector('.read .frame')) setInterval(look, LOOK_MS);
