// The service worker keeps the pages themselves (no job, no photo), so that they
// open without a connection. With one, they always come fresh from the server.
const shelf = 'rimpair-pages-1';
const pages = ['/', '/assets/style.css', '/assets/icon.svg', '/assets/en.json', '/assets/de.json',
  ...['app', 'words', 'dom', 'api', 'queue', 'drawing', 'parts', 'path', 'photos', 'result', 'jobs', 'review', 'pair']
    .map((name) => `/assets/${name}.js`)];

self.addEventListener('install', (event) => {
  event.waitUntil(caches.open(shelf).then((cache) => cache.addAll(pages)).then(() => self.skipWaiting()));
});

self.addEventListener('activate', (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) => name !== shelf).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener('fetch', (event) => {
  const path = new URL(event.request.url).pathname;
  const name = path === '/pair' ? '/' : path;
  if (event.request.method === 'GET' && pages.includes(name)) event.respondWith(fresh(event.request, name));
});

async function fresh(request, name) {
  const cache = await caches.open(shelf);
  try {
    const answer = await fetch(request);
    if (answer.ok) await cache.put(name, answer.clone());
    return answer;
  } catch (lost) {
    return (await cache.match(name)) ?? Response.error();
  }
}
