// Requests to the service, and what comes back.

// A refusal by the service (RFC 9457), with every fault of what was sent.
export class Problem extends Error {
    constructor(status, body) {
        super(body?.detail || `HTTP ${status}`);
        this.status = status;
        this.title = body?.title || '';
        this.errors = body?.errors || [];
        this.body = body;
    }
}

// No answer came: the network is cut, or the service is down.
export class Offline extends Error {}

// Called with a 401: the session has ended.
export const session = new EventTarget();

// Random bits, also where randomUUID isn't: on a plain HTTP address.
export function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, b => b.toString(16).padStart(2, '0')).join('');
}

function headersOf({body, type, key, match, accept}) {
    const headers = {};
    if (body !== undefined) headers['Content-Type'] = type;
    if (key) headers['Idempotency-Key'] = key;
    if (match) headers['If-Match'] = match;
    if (accept) headers.Accept = accept;
    return headers;
}

// ask('GET', '/v1/me') gives {status, etag, body}; throws Problem or Offline.
// body is a value to send as JSON, or bytes of the media type.
export async function ask(method, path, options = {}) {
    const {body, type = 'application/json', signal, quiet} = options;
    let answer, text;
    try {
        answer = await fetch(path, {
            method, signal, cache: 'no-store', credentials: 'same-origin',
            headers: headersOf({...options, type}),
            body: body === undefined || body instanceof ArrayBuffer ? body
                : JSON.stringify(body),
        });
        text = await answer.text();
    } catch (e) {
        if (e.name === 'AbortError') throw e;
        throw new Offline(e.message);
    }
    const json = /json/.test(answer.headers.get('Content-Type') || '') && text
        ? JSON.parse(text) : null;
    if (answer.ok)
        return {status: answer.status, etag: answer.headers.get('ETag'),
            body: json ?? text};
    if (answer.status === 401 && !quiet)
        session.dispatchEvent(new Event('ended'));
    if (answer.status >= 502 && !json) throw new Offline(`${answer.status}`);
    throw new Problem(answer.status, json);
}
