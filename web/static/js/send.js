// Sends one request to the API the way a page may: same origin, marked as a page, problems as a sentence.
import { say } from './say.js';

export class Problem extends Error {
  constructor(message, status) { super(message); this.status = status; }
}

export async function send(method, url, body, headers = {}) {
  const options = { method, credentials: 'same-origin', headers: { 'X-Ringtell': 'page', Accept: 'application/json', ...headers } };
  if (body !== undefined) {
    options.body = body instanceof Blob || typeof body === 'string' ? body : JSON.stringify(body);
    options.headers['Content-Type'] ??= 'application/json';
  }
  const answer = await fetch(url, options);
  const text = await answer.text();
  let read = {};
  try { read = text ? JSON.parse(text) : {}; } catch { read = {}; }
  if (answer.ok) return read;
  if (answer.status === 401 && !window.location.pathname.startsWith('/login')) {
    window.location.assign('/login?next=' + encodeURIComponent(window.location.pathname));
  }
  throw new Problem(read.detail || read.title || say('answered', { status: answer.status }), answer.status);
}
