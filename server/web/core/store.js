// The one store of server data: answers to GET by path, read again when they
// are stale, shown by every component that watches the path.
import {ask} from './api.js';

const shelf = new Map(); // path -> {value, etag, fault, hosts, busy, again}

function slot(path) {
    if (!shelf.has(path)) shelf.set(path, {hosts: new Set()});
    return shelf.get(path);
}

function tell(entry) {
    for (const host of entry.hosts) host.requestUpdate();
}

export async function load(path) {
    const entry = slot(path);
    if (entry.busy) {
        entry.again = true; // what is on its way may be older
        return entry.busy;
    }
    entry.busy = ask('GET', path).then(({body, etag}) => {
        Object.assign(entry, {value: body, etag, fault: null});
    }, fault => {
        entry.fault = fault;
    }).finally(() => {
        entry.busy = null;
        tell(entry);
        if (entry.again) {
            entry.again = false;
            return load(path);
        }
    });
    return entry.busy;
}

// What a change's answer already says.
export function put(path, value, etag) {
    const entry = slot(path);
    Object.assign(entry, {value, etag, fault: null});
    tell(entry);
}

export function got(path) {
    return shelf.get(path)?.value;
}

// Paths that begin so are read again if anybody watches; else forgotten.
export function stale(...prefixes) {
    for (const [path, entry] of shelf) {
        if (!prefixes.some(p => path.startsWith(p))) continue;
        if (entry.hosts.size) load(path);
        else shelf.delete(path);
    }
}

// A component's watch on the path that of() names now; '' for none.
export class Watch {
    constructor(host, of) {
        this.host = host;
        this.of = of;
        this.path = '';
        host.addController(this);
    }

    hostUpdate() {
        const path = this.of() || '';
        if (path === this.path) return;
        this.leave();
        this.path = path;
        if (!path) return;
        const entry = slot(path);
        entry.hosts.add(this.host);
        load(path);
    }

    hostDisconnected() {
        this.leave();
    }

    leave() {
        if (this.path) shelf.get(this.path)?.hosts.delete(this.host);
        this.path = '';
    }

    get value() {
        return this.path ? shelf.get(this.path)?.value : undefined;
    }

    get etag() {
        return this.path ? shelf.get(this.path)?.etag : undefined;
    }

    get fault() {
        return this.path ? shelf.get(this.path)?.fault : undefined;
    }
}
