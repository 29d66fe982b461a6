// The frame around the views, and the way from one to another: the part of the
// address after "#" names the view. Each view is a function that fills the page and
// may return what ends it.
import { announce, h, select } from './dom.js';
import { Lost, get } from './api.js';
import * as queue from './queue.js';
import { chooseLanguage, language, languages, say } from './words.js';
import { measure } from './path.js';
import { jobs, overview } from './jobs.js';
import { review } from './review.js';
import { pair } from './pair.js';

// A job's folder may have any letters in its name: in an address they are encoded.
const routes = [
  [/^#\/pair(?:\?to=(.*))?$/, pair],
  [/^#\/jobs$/, jobs],
  [/^#\/review(?:\/([\w-]+))?$/, review],
  [/^#\/job\/([^/]+)$/, overview],
  [/^#\/job\/([^/]+)\/(sheets|ruler|vehicle|checks|photos|result)$/, measure],
  [/^#\/new\/(sheets|ruler|vehicle)$/, (show, step) => measure(show, null, step)],
];

let end = null; // of the view that is shown
let turn = 0; // counts views, so that a slow one does not replace its successor

async function route() {
  const mine = ++turn;
  end?.();
  end = null;
  if (location.pathname === '/pair' && !location.hash.startsWith('#/')) return goToPairing();
  const hash = location.hash || '#/new/sheets';
  const [pattern, view] = routes.find(([each]) => each.test(hash)) ?? [/^/, missing];
  const show = (title, ...parts) => { if (mine === turn) put(title, parts); };
  try {
    const ended = await view(show, ...(pattern.exec(hash) ?? []).slice(1));
    if (mine === turn) end = ended; else ended?.();
  } catch (problem) {
    show(say('problem'), ...problemParts(problem));
    if (!(problem instanceof Lost) && !problem.status) throw problem;
  }
}

// goToPairing takes the code out of the address that the QR picture held, so that it
// stays in no history.
function goToPairing() {
  const code = location.hash.slice(1) || new URLSearchParams(location.search).get('code') || '';
  sessionStorage.setItem('code', code);
  history.replaceState(null, '', '/#/pair');
  route();
}

function problemParts(problem) {
  return [h('p', { class: 'alert', role: 'alert' }, problem.message), h('p', {}, problem.remedy ?? ''),
    h('p', {}, h('button', { onclick: route }, say('again')))];
}

function missing(show) {
  show(say('missing'), h('p', {}, h('a', { href: '#/new/sheets' }, say('nav.measure'))));
}

// put shows a view. Its heading gets the focus, so that a screen reader and the
// keyboard go on from there.
let shown = false;
function put(title, parts) {
  document.title = `${title} – Rimpair`;
  const heading = h('h1', { tabindex: -1, id: 'heading' }, title);
  document.getElementById('main').replaceChildren(heading, ...parts.flat(Infinity).filter(Boolean));
  for (const link of document.querySelectorAll('header nav a')) {
    const here = new RegExp(link.dataset.here).test(location.hash || '#/new/sheets');
    if (here) link.setAttribute('aria-current', 'page'); else link.removeAttribute('aria-current');
  }
  if (shown) { heading.focus({ preventScroll: true }); scrollTo(0, 0); }
  shown = true;
}

function frame() {
  const link = (to, here, key) => h('a', { href: to, 'data-here': here }, say(key));
  const choice = select('language', languages.map((code) => [code, say(`language.${code}`)]), language);
  choice.addEventListener('change', async () => {
    await chooseLanguage(choice.value);
    frame();
    await route();
    document.getElementById('language').focus();
  });
  document.body.replaceChildren(
    h('a', { href: '#main', class: 'skip', onclick: skip }, say('skip')),
    h('header', {},
      h('p', { class: 'name' }, 'Rimpair'),
      h('nav', { 'aria-label': say('nav') },
        link('#/new/sheets', '^#/(new|job/[^/]+/.)', 'nav.measure'), link('#/jobs', '^#/(jobs|job/[^/]+$)', 'nav.jobs'), link('#/review', '^#/review', 'nav.review')),
      h('div', { class: 'language' }, h('label', { for: 'language', class: 'unseen' }, 'Language, Sprache'), choice)),
    h('div', { role: 'status', id: 'line', class: 'line' }),
    h('main', { id: 'main', tabindex: -1 }),
    h('div', { role: 'status', id: 'said', class: 'unseen' }),
    h('footer', {}, h('p', {}, say('footer'))));
  lineState();
}

// skip goes to the content without touching the address, which names the view.
function skip(event) {
  event.preventDefault();
  document.getElementById('heading')?.focus();
}

// The line above the content says when photos wait for a connection.
function lineState() {
  const waiting = queue.under('jobs').length + queue.under('reviews').length;
  const text = queue.connected() && navigator.onLine ? '' : waiting ? say('line.waiting', { n: waiting }) : say('line.lost');
  const region = document.getElementById('line');
  if (region && region.textContent !== text) region.textContent = text;
}
queue.watch(lineState);
addEventListener('online', lineState);
addEventListener('offline', lineState);
addEventListener('hashchange', route);

// Without the server's word (offline) the pages open all the same.
async function begin() {
  if ('serviceWorker' in navigator) navigator.serviceWorker.register('/sw.js').catch(() => { /* not on this address */ });
  await chooseLanguage();
  frame();
  const hello = await get('hello').catch(() => ({ paired: true }));
  await route();
  if (hello.paired !== false) queue.resume();
}
begin().catch((problem) => announce(problem.message));
