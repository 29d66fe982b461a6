// Review from afar: many photos of several customers at once.
import { get, listen, post } from './api.js';
import { announce, h } from './dom.js';
import { figure, picture, refusedParts, verdict } from './parts.js';
import * as queue from './queue.js';
import { language, moment, say } from './words.js';

export async function review(show, id) {
  return id ? follow(show, id) : begin(show);
}

// begin takes files until the person starts the work.
function begin(show) {
  let made = null; // promise of the review's id
  const chosen = new Map(); // key → arrived
  const state = h('p', { role: 'status' });
  const trouble = h('ul', { class: 'taken' });
  const bar = h('progress', { 'aria-label': say('review.sending'), max: 1, value: 0, hidden: true });
  const start = h('button', { class: 'main', disabled: true }, say('review.start'));

  async function take(files) {
    const wanted = [...files].filter(isWanted);
    if (!wanted.length) { state.textContent = say('review.nothing'); return; }
    try {
      made ??= post('reviews').then((answer) => answer.id);
      const path = `reviews/${await made}`;
      for (const file of wanted) chosen.set((await queue.add(path, file)).key, false);
    } catch (problem) {
      made = null;
      state.textContent = problem.message;
    }
    draw();
  }
  function draw() {
    const arrived = [...chosen.values()].filter(Boolean).length;
    bar.hidden = chosen.size === 0;
    bar.max = Math.max(chosen.size, 1);
    bar.value = arrived;
    state.textContent = say('review.arrived', { n: arrived, of: chosen.size });
    start.disabled = arrived === 0 || arrived < chosen.size;
  }
  const unwatch = queue.watch((item) => {
    if (!chosen.has(item.key)) return;
    if (item.state === 'arrived') chosen.set(item.key, true);
    if (item.state === 'dropped') chosen.delete(item.key);
    if (item.state === 'failed') trouble.append(failed(item));
    draw();
  });
  start.addEventListener('click', async () => {
    try {
      await post(`reviews/${await made}/start`);
      location.hash = `#/review/${await made}`;
    } catch (problem) { state.textContent = problem.message; }
  });
  show(say('review.title'), h('p', {}, say('review.how')), dropZone(take), state, bar, trouble, h('p', { class: 'forward' }, start));
  return unwatch;
}

const isWanted = (file) => file.type.startsWith('image/') || /\.(jpe?g|png|webp|hei[cf]|zip)$/i.test(file.name);

function failed(item) {
  const row = h('li', {}, h('p', { class: 'error' }, `${item.name}: ${queue.stateText(item)}`), h('p', { class: 'buttons' },
    h('button', { onclick: () => { row.remove(); queue.retry(item.key); } }, say('again')),
    h('button', { onclick: () => { row.remove(); queue.drop(item.key); } }, say('photos.drop'))));
  return row;
}

// dropZone takes files by dropping, or by one of two choosers for the keyboard.
function dropZone(take) {
  const chooser = (id, attributes) => {
    const input = h('input', { type: 'file', id, multiple: true, class: 'unseen', ...attributes });
    input.addEventListener('change', async () => { await take(input.files); input.value = ''; });
    return [input, h('label', { for: id, class: 'button' }, say(`review.${id}`))];
  };
  const zone = h('div', { class: 'drop' }, h('p', {}, say('review.drop')),
    h('p', { class: 'buttons' }, chooser('files', { accept: 'image/*,.heic,.heif,.zip' }), chooser('folder', { webkitdirectory: true })));
  zone.addEventListener('dragover', (event) => { event.preventDefault(); zone.classList.add('over-it'); });
  zone.addEventListener('dragleave', () => zone.classList.remove('over-it'));
  zone.addEventListener('drop', async (event) => {
    event.preventDefault();
    zone.classList.remove('over-it');
    await take(await dropped(event.dataTransfer));
  });
  return zone;
}

// dropped is every file of what was dropped, folders with all that is below them.
async function dropped(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  return entries.length ? (await Promise.all(entries.map(filesBelow))).flat() : [...transfer.files];
}

async function filesBelow(entry) {
  if (entry.isFile) return [await new Promise((done, fail) => entry.file(done, fail))];
  const reader = entry.createReader();
  const files = [];
  for (;;) { // a reader gives some entries at a time
    const some = await new Promise((done, fail) => reader.readEntries(done, fail));
    if (!some.length) return files;
    for (const each of some) files.push(...await filesBelow(each));
  }
}

// follow shows the work and its results as they come.
async function follow(show, id) {
  let found = await get(`reviews/${id}`);
  const state = h('p', {});
  const bar = h('progress', { 'aria-label': say('review.working') });
  const groups = h('div', {});
  let drawn = '';
  const draw = () => {
    const done = found.state === 'done';
    const text = done ? say('review.done', { n: found.groups?.length ?? 0 }) : say(`review.working.${found.what || 'unpack'}`, { done: found.done ?? 0, of: found.of ?? 0 });
    if (done && state.textContent !== text) announce(text);
    state.textContent = text;
    bar.hidden = done;
    bar.max = Math.max(found.of || 0, 1);
    bar.value = found.done || 0;
    const now = JSON.stringify([found.groups, found.problems]);
    if (now !== drawn) groups.replaceChildren(...(found.groups ?? []).map((each, i) => group(id, each, i)), ...problems(found.problems ?? []));
    drawn = now;
  };
  const refresh = () => get(`reviews/${id}`).then((next) => { found = next; draw(); }, () => { /* the next event asks again */ });
  show(say('review.results'), state, bar, groups, h('p', {}, h('a', { href: '#/review', class: 'button' }, say('review.another'))));
  draw();
  if (found.state === 'done') return null;
  return listen(`reviews/${id}/events`, {
    open: refresh, group: refresh, done: refresh,
    progress: (step) => { found = { ...found, ...step }; draw(); },
  });
}

function group(id, { folder, number, from, to, photos, states, refused, reply }, i) {
  const counted = ['good', 'usable', 'repeat'].map((each) => [each, photos.filter((photo) => photo.judgement?.verdict === each).length]).filter(([, n]) => n);
  return h('section', { class: 'card', 'aria-labelledby': `group-${i}` }, h('h2', { id: `group-${i}` }, [folder, number > 0 && say('review.group', { n: number })].filter(Boolean).join(', ')),
    h('p', {}, [moment(from), to !== from && moment(to)].filter(Boolean).join(' – ')),
    states.map((state) => [figure(state.total_toe_mm), states.length > 1 && h('p', { class: 'file' }, state.photos.join(', '))]), refused && refusedParts({ refused }, photos.map((photo) => ({ key: photo.name, name: photo.name }))),
    h('p', {}, counted.map(([each, n]) => `${n} ${say(`verdict.${each}`)}`).join(', ')),
    h('details', { id: `photos-${i}` }, h('summary', {}, say('review.photos', { n: photos.length })),
      h('ul', { class: 'taken' }, photos.map((photo) => h('li', { class: 'photo' },
        photo.picture !== false && picture(`reviews/${id}`, photo.key, photo.name), h('p', { class: 'file' }, photo.name), verdict(photo.judgement))))),
    reply && replyParts(reply, i));
}

function replyParts(reply, i) {
  const text = h('textarea', { id: `reply-${i}`, rows: 8, value: reply[language] ?? reply.en ?? reply });
  const copied = h('span', { role: 'status' });
  const copy = async () => {
    try { await navigator.clipboard.writeText(text.value); } catch { text.select(); document.execCommand('copy'); } // no clipboard without TLS
    copied.textContent = say('review.copied');
  };
  return h('div', { class: 'field' }, h('label', { for: text.id }, say('review.reply')), text, h('p', { class: 'buttons' }, h('button', { onclick: copy }, say('review.copy')), copied));
}

function problems(list) {
  if (!list.length) return [];
  return [h('section', { 'aria-labelledby': 'problems' }, h('h2', { id: 'problems' }, say('review.problems')),
    h('ul', {}, list.map(({ name, reason }) => h('li', {}, `${name}: ${reason}`))))];
}
