// Asks the browser for passkeys. The server checks everything; this only carries
// texts between the two.

const from64 = (text) => Uint8Array.from(atob(text.replace(/-/g, '+').replace(/_/g, '/')), (c) => c.charCodeAt(0));
const to64 = (octets) => btoa(String.fromCharCode(...new Uint8Array(octets))).replace(/\+/g, '-').replace(/\//g, '_').replace(/=+$/, '');

// post sends a form, and throws what the server says when it refuses; 401 by a name.
async function post(path, fields) {
  const answer = await fetch(path, { method: 'POST', body: new URLSearchParams(fields) });
  if (answer.status === 401) throw new DOMException('', 'AuthenticationRequiredError');
  if (!answer.ok) throw new Error(answer.headers.get('content-type')?.startsWith('text/plain') ? await answer.text() : '');
  return answer;
}

// register and signIn turn what the server asks into what the browser wants, and
// what it answers into text.
async function register(options) {
  options.challenge = from64(options.challenge);
  options.user.id = from64(options.user.id);
  options.excludeCredentials = (options.excludeCredentials ?? []).map((c) => ({ ...c, id: from64(c.id) }));
  const made = await navigator.credentials.create({ publicKey: options });
  return {
    id: made.id, rawId: to64(made.rawId), type: made.type, clientExtensionResults: made.getClientExtensionResults(),
    authenticatorAttachment: made.authenticatorAttachment ?? undefined,
    response: {
      clientDataJSON: to64(made.response.clientDataJSON), attestationObject: to64(made.response.attestationObject),
      transports: made.response.getTransports?.() ?? [],
    },
  };
}

async function signIn(options) {
  options.challenge = from64(options.challenge);
  options.allowCredentials = [];
  const used = await navigator.credentials.get({ publicKey: options });
  return {
    id: used.id, rawId: to64(used.rawId), type: used.type, clientExtensionResults: used.getClientExtensionResults(),
    authenticatorAttachment: used.authenticatorAttachment ?? undefined,
    response: {
      clientDataJSON: to64(used.response.clientDataJSON), authenticatorData: to64(used.response.authenticatorData),
      signature: to64(used.response.signature), userHandle: used.response.userHandle ? to64(used.response.userHandle) : undefined,
    },
  };
}

// run is one ceremony: begin, ask the browser, send its answer, go on. What the form
// holds is sent along each time.
async function run(box) {
  const say = box.querySelector('[role=status]');
  const fields = Object.fromEntries(new FormData(box));
  say.textContent = '';
  try {
    const { ticket, options } = await (await post(box.dataset.path + '/begin', fields)).json();
    const answer = await ('make' in box.dataset ? register(options) : signIn(options));
    await post(box.dataset.path, { ...fields, ticket, answer: JSON.stringify(answer) });
    if (box.dataset.then) document.getElementById(box.dataset.then).submit();
    else location.assign(box.dataset.next);
  } catch (e) {
    // Signed in too long ago: the form, sent in the ordinary way, asks for it.
    if (e.name === 'AuthenticationRequiredError') {
      box.submit();
      return;
    }
    // The browser tells too little about why it gave up for anything but this.
    say.textContent = e.name === 'Error' && e.message ? e.message : (e.name === 'InvalidStateError' ? box.dataset.twice : box.dataset.failed);
  }
}

for (const box of document.querySelectorAll('[data-passkey]')) {
  if (!window.PublicKeyCredential || !window.isSecureContext) {
    document.querySelectorAll('[data-no-passkey]').forEach((e) => { e.hidden = false; });
    continue;
  }
  box.hidden = false;
  document.querySelectorAll('[data-with-passkey]').forEach((e) => { e.hidden = false; });
  box.addEventListener('submit', (event) => {
    event.preventDefault();
    const button = box.querySelector('button');
    button.disabled = true;
    run(box).finally(() => { button.disabled = false; });
  });
}
