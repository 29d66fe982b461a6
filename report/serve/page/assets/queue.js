// Uploads that outlive a lost connection and a closed page. Each photo is kept in
// the browser (IndexedDB) under a random key until the server has acknowledged it;
// it is sent again with the same key until then, which the server takes once only.
import { Problem, askForPairing, headers } from './api.js';
import { say } from './words.js';

const atOnce = 2;
const stalledMs = 60000; // without any progress

const items = new Map(); // by key, in the order of adding
const watchers = new Set();
let pause = 0; // ms until the next try; 0 while the line works
let timer = 0;
let stopped = false; // until paired

// watch calls act with (item, answer) after each change: answer is the server's when
// the item has arrived, null else. It returns what ends it.
export function watch(act) {
  watchers.add(act);
  return () => watchers.delete(act);
}

function tell(item, answer = null) {
  for (const act of watchers) act(item, answer);
}

// under lists what still has to be sent to a path or below it.
export function under(path) {
  return [...items.values()].filter((item) => `${item.path}/`.startsWith(`${path}/`));
}

export const connected = () => pause === 0;

export function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, '0')).join('');
}

// add keeps a file and sends it to path/uploads/key, with what the query says.
export async function add(path, file, query = {}) {
  const item = {
    key: newKey(), path, name: file.webkitRelativePath || file.name, added: Date.now(), blob: file,
    query: { ...query, name: file.webkitRelativePath || file.name, modified: new Date(file.lastModified).toISOString() },
  };
  item.kept = await keep(item);
  enqueue(item);
  return item;
}

function enqueue(item) {
  items.set(item.key, { ...item, state: 'waiting', sent: 0 });
  tell(items.get(item.key));
  pump();
}

export function retry(key) {
  const item = items.get(key);
  if (item?.state !== 'failed') return;
  Object.assign(item, { state: 'waiting', problem: null });
  tell(item);
  pump();
}

export async function drop(key) {
  const item = items.get(key);
  items.delete(key);
  item?.request?.abort();
  await forget(key);
  if (item) tell({ ...item, state: 'dropped' });
}

// resume sends what an earlier visit, or one before pairing, left behind.
export async function resume() {
  stopped = false;
  for (const item of await kept()) if (!items.has(item.key)) enqueue({ ...item, kept: true });
  hurry();
}

function hurry() {
  clearTimeout(timer);
  pause = 0;
  pump();
}
addEventListener('online', hurry);

function pump() {
  const all = [...items.values()];
  let free = pause > 0 ? 0 : atOnce - all.filter((item) => item.state === 'sending').length;
  for (const item of all) {
    if (stopped || free <= 0) return;
    if (item.state === 'waiting') { free--; send(item); }
  }
}

function send(item) {
  const request = new XMLHttpRequest();
  Object.assign(item, { state: 'sending', sent: 0, request });
  tell(item);
  let watchdog;
  const alive = () => { clearTimeout(watchdog); watchdog = setTimeout(() => request.abort(), stalledMs); };
  request.upload.onprogress = (event) => { alive(); item.sent = event.loaded / event.total; tell(item); };
  request.onloadend = () => {
    clearTimeout(watchdog);
    if (items.has(item.key)) settle(item, request);
  };
  request.open('PUT', `/api/${item.path}/uploads/${item.key}?${new URLSearchParams(item.query)}`);
  for (const [name, value] of Object.entries(headers())) request.setRequestHeader(name, value);
  alive();
  request.send(item.blob);
}

async function settle(item, request) {
  item.request = null;
  const { status } = request;
  if (status >= 200 && status < 300) {
    pause = 0;
    items.delete(item.key);
    await forget(item.key);
    tell({ ...item, state: 'arrived' }, answerOf(request));
  } else if (status === 0 || status === 429 || status === 502 || status === 503 || status === 504) {
    later(item);
  } else if (status === 401) {
    item.state = 'waiting';
    stopped = true;
    tell(item);
    askForPairing();
  } else {
    item.state = 'failed';
    item.problem = new Problem(status, answerOf(request).error);
    tell(item);
  }
  pump();
}

function later(item) {
  item.state = 'waiting';
  pause = Math.min(Math.max(2 * pause, 1000), 30000);
  clearTimeout(timer);
  timer = setTimeout(() => { const wait = pause; pause = 0; pump(); pause = wait; }, pause);
  tell(item);
}

function answerOf(request) {
  try { return JSON.parse(request.responseText); } catch { return {}; }
}

// stateText says in words where an item is.
export function stateText(item) {
  if (item.state === 'failed') return `${item.problem.message} ${item.problem.remedy}`.trim();
  if (item.state === 'sending') return say('upload.sending', { percent: Math.round(100 * item.sent) });
  if (connected()) return say('upload.waiting');
  return say(item.kept ? 'upload.kept' : 'upload.open');
}

// The store. Where the browser has none (private windows), photos wait in memory.
let store;
function opened() {
  store ??= new Promise((done) => {
    try {
      const request = indexedDB.open('rimpair', 1);
      request.onupgradeneeded = () => request.result.createObjectStore('uploads', { keyPath: 'key' });
      request.onsuccess = () => done(request.result);
      request.onerror = () => done(null);
    } catch { done(null); }
  });
  return store;
}

async function inStore(mode, act, failed) {
  const base = await opened();
  if (!base) return failed;
  return new Promise((done) => {
    try {
      const change = base.transaction('uploads', mode);
      const request = act(change.objectStore('uploads'));
      change.oncomplete = () => done(request.result ?? true);
      change.onerror = change.onabort = () => done(failed);
    } catch { done(failed); }
  });
}

const keep = (item) => inStore('readwrite', (uploads) => uploads.put(item), false);
const forget = (key) => inStore('readwrite', (uploads) => uploads.delete(key), false);
const kept = async () => (await inStore('readonly', (uploads) => uploads.getAll(), [])).sort((a, b) => a.added - b.added);
