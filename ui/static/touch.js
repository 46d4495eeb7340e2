// At the screen in the room: whoever goes away leaves nothing open. After a minute
// without a touch the page ends by itself.

const patience = 60000;
const done = document.getElementById('touch-done');
let timer = 0;

function again() {
  clearTimeout(timer);
  timer = setTimeout(() => {
    if (done) done.requestSubmit();
    else location.href = document.getElementById('touch-back').href;
  }, patience);
}

for (const kind of ['pointerdown', 'keydown', 'input']) document.addEventListener(kind, again);
again();
