// Changes that the service has not taken yet, in order, kept in this
// browser's storage by user: they survive a reload and a cut network.
//
// An item is {key, exam, kind, body, at}: kind "step" is posted as it is;
// "section" is {name, base, value} and replaces a section of the exam if it
// still is what it was when it was changed.
import {ask, newKey, Offline, Problem} from './api.js';
import {session} from './session.js';

const WAIT_MS = [500, 1000, 2000, 4000];

class Queue extends EventTarget {
    items = [];
    user = null;
    busy = false;
    conflict = null; // {item, now}: another tablet was there first
    refused = null; // {item, text}: the service said no
    offline = false;
    tries = 0;

    constructor() {
        super();
        session.addEventListener('change', () => this.known());
        addEventListener('online', () => this.pump());
        addEventListener('storage', e => {
            if (e.key === this.place && !this.busy) this.load();
        });
    }

    get place() {
        return `lensclerk.queue.${this.user}`;
    }

    known() {
        if (session.state !== 'in') return;
        if (this.user !== session.me.id) {
            this.user = session.me.id;
            this.load();
        }
        this.pump();
    }

    load() {
        try {
            this.items = JSON.parse(localStorage.getItem(this.place) || '[]');
        } catch {
            this.items = [];
        }
        this.tell('change');
    }

    save() {
        localStorage.setItem(this.place, JSON.stringify(this.items));
        this.tell('change');
    }

    tell(kind, detail) {
        this.dispatchEvent(new CustomEvent(kind, {detail}));
    }

    of(exam) {
        return this.items.filter(i => i.exam === exam);
    }

    add(item) {
        this.items.push({key: newKey(), at: Date.now(), ...item});
        this.refused = null;
        this.save();
        this.pump();
    }

    // Takes back the last change if it is still only here.
    dropLast(exam) {
        const at = this.items.findLastIndex(i => i.exam === exam);
        if (at < 0 || (at === 0 && this.busy)) return false;
        this.items.splice(at, 1);
        this.save();
        return true;
    }

    async pump() {
        if (this.busy || this.conflict || session.state !== 'in') return;
        this.busy = true;
        clearTimeout(this.timer);
        try {
            while (this.items.length && !this.conflict) {
                const item = this.items[0];
                const answer = await this.send(item);
                if (this.conflict) break;
                this.offline = false;
                this.tries = 0;
                this.items.shift();
                if (answer) this.tell('sent', {item, answer});
                this.save();
            }
        } catch (e) {
            this.waits(e);
        } finally {
            this.busy = false;
            this.tell('change');
        }
    }

    // The network is cut, or the session has ended: later, the same again.
    waits(e) {
        if (!(e instanceof Offline) && !(e instanceof Problem)) throw e;
        this.offline = e instanceof Offline || e.status >= 500;
        if (e instanceof Problem && e.status === 401) return; // known() goes on
        this.timer = setTimeout(() => this.pump(),
            WAIT_MS[Math.min(this.tries++, WAIT_MS.length - 1)]);
    }

    async send(item) {
        try {
            return item.kind === 'step' ? await this.sendStep(item)
                : await this.sendSection(item);
        } catch (e) {
            if (!(e instanceof Problem) || e.status === 401 || e.status >= 500)
                throw e;
            if (e.status === 409 && item.kind === 'step' && item.body.field) {
                const now = (await ask('GET', `/v1/exams/${item.exam}`)).body;
                if (now.status === 'preliminary' || now.amending) {
                    this.conflict = {item, now};
                    return null;
                }
            }
            this.refused = {item, text: e.message, errors: e.errors};
            return null;
        }
    }

    sendStep({exam, key, body}) {
        return ask('POST', `/v1/exams/${exam}/steps`, {body, key});
    }

    async sendSection(item) {
        const path = `/v1/exams/${item.exam}`;
        const {name, base, value} = item.body;
        for (let i = 0; ; i++) {
            const {body, etag} = await ask('GET', path);
            const now = body[name] ?? null;
            if (!same(now, base) && !same(now, value)) {
                this.conflict = {item, now: body};
                return null;
            }
            try {
                return await ask('PATCH', path,
                    {body: {[name]: value}, match: etag});
            } catch (e) {
                if (e.status !== 412 || i > 3) throw e;
            }
        }
    }

    // What another tablet made stands; what hangs on ours goes with it.
    keepTheirs() {
        const {item} = this.conflict;
        this.items = this.items.filter(i => i !== item
            && !(i.exam === item.exam && i.kind === item.kind
                && i.body.field === item.body.field
                && (i.body.name ?? i.body.eye)
                    === (item.body.name ?? item.body.eye)));
        this.settle();
    }

    // Ours is put over what was found there.
    keepOurs(from) {
        const {item} = this.conflict;
        item.key = newKey();
        if (item.kind === 'step') item.body = {...item.body, from};
        else item.body = {...item.body, base: from};
        this.settle();
    }

    settle() {
        const {item, now} = this.conflict;
        this.conflict = null;
        this.tell('found', {exam: item.exam, now});
        this.save();
        this.pump();
    }
}

// Equal as JSON, whatever the order of members.
export function same(a, b) {
    if (a === b) return true;
    if (!a || !b || typeof a !== 'object' || typeof b !== 'object')
        return (a ?? null) === (b ?? null);
    const keys = new Set([...Object.keys(a), ...Object.keys(b)]);
    return [...keys].every(k => same(a[k], b[k]));
}

export const queue = new Queue();
