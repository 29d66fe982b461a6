// Pairing: the code that the terminal shows opens the server to this browser.
import { post } from './api.js';
import { fault, field, h } from './dom.js';
import * as queue from './queue.js';
import { say } from './words.js';

export async function pair(show, to) {
  const code = h('input', { id: 'code', autocomplete: 'off', autocapitalize: 'characters', spellcheck: 'false', required: true });
  const enter = async (event) => {
    event?.preventDefault();
    if (fault(code, code.value.trim() ? '' : say('pair.none'))) return code.focus();
    try {
      await post('pair', { code: code.value.trim() });
    } catch (problem) {
      fault(code, `${problem.message} ${problem.remedy ?? ''}`.trim());
      return code.focus();
    }
    queue.resume();
    location.hash = to ? decodeURIComponent(to) : '#/new/sheets';
  };
  show(say('pair.title'), h('p', {}, say('pair.how')),
    h('form', { onsubmit: enter, novalidate: true }, field(say('pair.code'), code), h('p', {}, h('button', { class: 'main' }, say('pair.enter')))));
  code.value = sessionStorage.getItem('code') ?? '';
  sessionStorage.removeItem('code');
  if (code.value) await enter();
}
