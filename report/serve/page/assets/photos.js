// Taking the photos: one tile a view, each photo judged as it arrives, and the toe
// whose interval narrows with each of them.
import { get, listen, remove } from './api.js';
import { announce, h, swap } from './dom.js';
import { intervalBar, standing } from './drawing.js';
import { figure, picture, refusalReason, refusedParts, verdict } from './parts.js';
import * as queue from './queue.js';
import { halfText, say, toe } from './words.js';

const views = ['front', 'rear', 'above', 'other'];
const positions = ['top', 'bottom'];

export async function photos({ id, job, show }) {
  const path = `jobs/${id}`;
  const earlier = []; // toes of the smaller sets before, oldest first
  let heard = ''; // the latest toe that was announced
  let asked = 0; // how often the server was asked how things stand
  let shown = 0; // which of its answers is on the page
  const tiles = positions.flatMap((position) => views.map((view) => tile(path, position, view, takeOut)));
  const reading = h('section', { class: 'reading', 'aria-labelledby': 'reading' });
  let panel = reading;

  async function takeOut(key) {
    await remove(`${path}/uploads/${key}`);
    await refresh();
    earlier.length = 0;
  }
  function draw() {
    for (const each of tiles) each.draw(job, queue.under(path));
    panel = swap(panel, readingOf(job, earlier));
  }
  async function refresh() {
    const before = job.measured?.result?.total_toe_mm;
    const turn = asked += 1;
    const fresh = await get(path);
    if (turn < shown) return; // a later answer came first
    shown = turn;
    job = fresh;
    const { result, refused } = job.measured ?? {};
    const now = result?.total_toe_mm;
    if (before && now && before.standard_uncertainty !== now.standard_uncertainty) earlier.push(before);
    const words = now ? say('reading.said', { toe: toe(now) }) : refused ? refusalReason(refused, job.photos) : '';
    if (words && words !== heard) announce(words);
    heard = words;
    draw();
  }
  // Where the line is lost, the next connection tells.
  const refreshed = () => refresh().catch(() => {});
  const unwatch = queue.watch((item, answer) => {
    if (item.path !== path) return;
    const photo = item.state === 'arrived' && (answer?.photo ?? { key: item.key, name: item.name, ...item.query, judgement: null });
    if (photo && !job.photos.some((each) => each.key === photo.key)) job.photos.push(photo);
    draw();
  });
  const half = h('details', { id: 'half', open: job.photos.some((each) => each.position === 'bottom') },
    h('summary', {}, h('h2', {}, say('photos.bottom'))), h('p', {}, say('photos.bottom.how')), h('div', { class: 'tiles' }, tiles.slice(views.length).map((each) => each.node)));
  show(say('photos.title', { stage: say(`stage.${job.next.stage}`) }), h('p', {}, say('photos.how')), reading,
    h('section', { 'aria-labelledby': 'top' }, h('h2', { id: 'top' }, say('photos.top')), h('div', { class: 'tiles' }, tiles.slice(0, views.length).map((each) => each.node))),
    half, h('p', { class: 'forward' }, h('a', { href: `#/job/${id}/result`, class: 'button main' }, say('photos.done'))));
  draw();
  const close = listen(`${path}/events`, {
    open: refreshed,
    judged: async ({ key }) => {
      await refreshed();
      const { name, judgement } = job.photos.find((each) => each.key === key) ?? {};
      if (judgement) announce(`${name}: ${say(`verdict.${judgement.verdict}`)}. ${judgement.findings.map(({ text, remedy }) => `${text} ${remedy}`).join(' ')}`);
    },
    measured: ({ state }) => {
      if (state === 'done') return refreshed();
      job.measured = { ...job.measured, state };
      draw();
    },
  });
  return () => { unwatch(); close(); };
}

// tile is one view's place: where to stand, two ways to a photo, and what came of it.
function tile(path, position, view, takeOut) {
  const name = `${position}-${view}`;
  const unseen = (text) => h('span', { class: 'unseen' }, text);
  let list = h('ul', { class: 'taken' });
  const choose = (kind, attributes) => {
    const input = h('input', { type: 'file', id: `${kind}-${name}`, accept: 'image/*,.heic,.heif', class: 'unseen', ...attributes });
    input.addEventListener('change', async () => {
      for (const file of [...input.files]) await queue.add(path, file, { view: view === 'other' ? '' : view, position });
      input.value = '';
    });
    return [input, h('label', { for: input.id, class: kind === 'camera' ? 'button main' : 'button' },
      say(`photos.${kind}`), unseen(` ${say(`view.${view}`)}, ${say(`photos.${position}`)}`))];
  };
  const node = h('section', { class: 'tile', 'aria-labelledby': name },
    h('h3', { id: name }, say(`view.${view}`), unseen(`, ${say(`photos.${position}`)}`)),
    h('div', { class: 'where' }, standing(view), h('p', {}, say(`stand.${view}.how`))),
    h('div', { class: 'buttons' }, choose('camera', { capture: 'environment' }), choose('files', { multiple: true })), list);
  const mine = (each) => (each.position || 'top') === position && placeOf(each) === view;
  const draw = ({ photos, measured }, waiting) => {
    const inResult = new Set(measured?.result?.photos.map((each) => each.file));
    const sending = waiting.filter((item) => (item.query.position || 'top') === position && (item.query.view || 'other') === view);
    list = swap(list, h('ul', { class: 'taken' }, photos.filter(mine).map((each) => taken(path, each, inResult.has(each.key), takeOut)), sending.map(underWay)));
  };
  return { node, draw };
}

// placeOf is the tile of a photo: the one it was taken for, else what it turned out to be.
function placeOf(photo) {
  const view = photo.view || photo.judgement?.angle;
  return views.includes(view) ? view : 'other';
}

function underWay(item) {
  return h('li', { class: 'photo' }, h('p', { class: 'file' }, item.name),
    item.state === 'sending' && h('progress', { max: 100, value: Math.round(100 * item.sent), 'aria-label': say('upload.of', { name: item.name }) }),
    h('p', { class: item.state === 'failed' ? 'error' : '' }, queue.stateText(item)),
    h('p', { class: 'buttons' },
      item.state === 'failed' && h('button', { id: `retry-${item.key}`, onclick: () => queue.retry(item.key) }, say('again')),
      h('button', { id: `drop-${item.key}`, onclick: () => queue.drop(item.key) }, say('photos.drop'), h('span', { class: 'unseen' }, ` ${item.name}`))));
}

function taken(path, photo, measured, takeOut) {
  const { key, name, judgement } = photo;
  const away = h('button', {
    id: `drop-${key}`,
    onclick: async () => { try { await takeOut(key); } catch (problem) { announce(problem.message); } },
  }, say('photos.drop'), h('span', { class: 'unseen' }, ` ${name}`));
  return h('li', { class: 'photo' }, judgement && picture(path, key, name, measured), h('p', { class: 'file' }, name), verdict(judgement), h('p', { class: 'buttons' }, away));
}

// readingOf is the toe as the photos so far tell it, and what the next one buys.
function readingOf(job, earlier) {
  const { measured, target } = job;
  const parts = [h('h2', { id: 'reading' }, say('reading'))];
  if (!measured) parts.push(h('p', {}, say('reading.none')));
  else if (measured.result) parts.push(figure(measured.result.total_toe_mm), ...forecastParts(measured.result, target, earlier));
  if (measured?.refused) parts.push(refusedParts(measured, job.photos));
  if (measured?.state === 'measuring') parts.push(h('p', {}, say('reading.measuring')));
  return h('section', { class: 'reading', 'aria-labelledby': 'reading' }, parts);
}

function forecastParts({ total_toe_mm: q, advice }, target, earlier) {
  const next = advice?.[0];
  return [
    h('div', { class: 'bar' }, intervalBar({ toe: q, target, before: earlier, forecast: next?.predicted_half_width_mm })),
    h('p', { class: 'hint' }, say('bar.key')),
    next && h('p', {}, h('strong', {}, say('reading.next')), ` ${next.text} `, say('reading.forecast', { half: halfText(next.predicted_half_width_mm) })),
  ];
}
