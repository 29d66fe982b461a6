// Requests to the server and its events.
import { language, said, say } from './words.js';

// Problem is an answer that was no success, in words for a person.
export class Problem extends Error {
  constructor(status, error = {}) {
    const [reason, remedy] = said(error.code, error.reason, error.remedy);
    super(reason || say('error.unknown', { status }));
    this.status = status;
    this.remedy = remedy;
  }
}

// Lost means that there is no connection to the server.
export class Lost extends Error {}

export const headers = () => ({ 'X-Rimpair': '1', 'Accept-Language': language });

async function request(method, path, body) {
  let answer;
  try {
    answer = await fetch(`/api/${path}`, {
      method, credentials: 'same-origin', cache: 'no-store', headers: { ...headers(), ...(body ? { 'Content-Type': 'application/json' } : {}) },
      body: body && JSON.stringify(body),
    });
  } catch {
    throw new Lost(say('lost'));
  }
  const found = await answer.json().catch(() => ({}));
  if (answer.status === 401) askForPairing();
  if (!answer.ok) throw new Problem(answer.status, found.error);
  return found;
}

export const get = (path) => request('GET', path);
export const post = (path, body = {}) => request('POST', path, body);
export const remove = (path) => request('DELETE', path);

export function askForPairing() {
  if (location.hash.startsWith('#/pair')) return;
  location.hash = `#/pair?to=${encodeURIComponent(location.hash)}`;
}

// listen follows the server's events: each kind has its function in on, and on.open
// is called after every (re)connection, when something may have been missed. The
// browser comes back by itself after a lost line, but not after a refusal.
export function listen(path, on) {
  let source;
  let timer;
  let wait = 1000;
  const open = () => {
    source = new EventSource(`/api/${path}`);
    source.onopen = () => { wait = 1000; on.open(); };
    source.onerror = () => {
      on.lost?.();
      if (source.readyState !== EventSource.CLOSED) return;
      timer = setTimeout(open, wait);
      wait = Math.min(2 * wait, 30000);
    };
    for (const [kind, act] of Object.entries(on)) {
      if (kind !== 'open' && kind !== 'lost') source.addEventListener(kind, (event) => act(JSON.parse(event.data || '{}')));
    }
  };
  open();
  return () => { clearTimeout(timer); source.close(); };
}
