// One exam as its page shows it: what the service holds, with the changes on
// top that it has not taken yet.
import {ask} from './api.js';
import {applied, standing} from './lens.js';
import {queue, same} from './queue.js';
import {load, stale, Watch} from './store.js';

const QUIET_MS = 250;

export class Work {
    base = null;

    constructor(host, id) {
        this.host = host;
        this.id = id;
        host.addController(this);
        this.watch = new Watch(host, () => this.path);
        this.sent = e => this.took(e.detail);
        this.found = e => {
            if (e.detail.exam === this.exam?.id) this.base = e.detail.now;
        };
        this.changed = () => host.requestUpdate();
    }

    get path() {
        return this.id() ? `/v1/exams/${this.id()}` : '';
    }

    hostConnected() {
        queue.addEventListener('sent', this.sent);
        queue.addEventListener('found', this.found);
        queue.addEventListener('change', this.changed);
    }

    hostDisconnected() {
        queue.removeEventListener('sent', this.sent);
        queue.removeEventListener('found', this.found);
        queue.removeEventListener('change', this.changed);
        clearTimeout(this.timer);
    }

    // An answer that was on its way while a step was taken is older.
    get exam() {
        const got = this.watch.value;
        if (got && (!this.base || this.base.id !== got.id
            || got.version >= this.base.version)) this.base = got;
        return this.base?.id === this.id() ? this.base : undefined;
    }

    get unsent() {
        return queue.of(this.id());
    }

    get draft() {
        const exam = this.exam;
        return exam && (exam.status === 'preliminary' || exam.amending);
    }

    get working() {
        let working = this.exam?.working;
        for (const item of this.unsent) {
            if (item.kind !== 'step') continue;
            working = item.body.undo ? {...working, ...item.before}
                : applied(working ?? {}, item.body);
        }
        return working;
    }

    section(name) {
        const item = this.unsent.findLast(
            i => i.kind === 'section' && i.body.name === name);
        return item ? item.body.value : this.exam?.[name] ?? null;
    }

    took({item, answer}) {
        if (item.exam !== this.exam?.id) return;
        if (item.kind === 'section') {
            const steps = {...answer.body.steps, last: this.base.steps.last};
            this.base = {...answer.body, steps};
        } else {
            const {exam_version: version, working, ...step} = answer.body;
            const last = [...(this.base.steps.last || []).map(
                s => (s.id === step.undoes ? {...s, undone: true} : s))];
            last.push(step);
            const begun = working.right || working.left;
            this.base = {...this.base, version, working: begun
                ? {...working, source: this.base.working?.source} : undefined,
            steps: {count: this.base.steps.count + 1, last}};
        }
        clearTimeout(this.timer);
        this.timer = setTimeout(() => this.refresh(), QUIET_MS);
    }

    refresh() {
        stale(`${this.path}/delta`);
        return load(this.path);
    }

    // One change: to is the new figure, or {right, left} for both eyes.
    step(eye, field, to, more = {}) {
        const working = this.working;
        const at = side => standing(working, side, field);
        if (eye !== 'both' || field === 'vertex_mm') {
            this.queued({eye, field, from: at(eye), to, ...more});
            return;
        }
        const from = {right: at('right'), left: at('left')};
        const each = to && typeof to === 'object' && 'right' in to ? to
            : {right: to, left: to};
        if (same(from.right, from.left) && same(each.right, each.left))
            this.queued({eye, field, from: from.right, to: each.right,
                ...more});
        else if ([from, each].some(x => x.right === null || x.left === null))
            for (const side of ['right', 'left'])
                this.step(side, field, each[side], more);
        else this.queued({eye, field, from, to: each, ...more});
    }

    queued(body) {
        queue.add({exam: this.id(), kind: 'step', body});
    }

    put(name, value) {
        queue.add({exam: this.id(), kind: 'section',
            body: {name, base: this.section(name), value}});
    }

    // The last step that stands and was not an undo.
    get undoable() {
        if (this.unsent.some(i => i.kind === 'step')) return true;
        return (this.exam?.steps?.last || []).some(canUndo);
    }

    undo() {
        const waiting = this.unsent.findLast(i => i.kind === 'step');
        if (waiting && queue.dropLast(this.id())) return;
        if (waiting) return; // it is on its way; its answer comes first
        const step = newest(this.exam.steps.last).find(canUndo);
        if (!step) return;
        queue.add({exam: this.id(), kind: 'step', body: {undo: step.id},
            before: step.before});
    }

    // A source sets the whole working refraction; the service rounds.
    async startFrom(source) {
        const {etag} = await ask('GET', this.path);
        const {body} = await ask('POST', `${this.path}/start-from`,
            {body: {source}, match: etag});
        this.base = null;
        await this.refresh();
        return body;
    }
}

function canUndo(step) {
    return step.kind !== 'undo' && !step.undone;
}

export function newest(steps) {
    return [...(steps || [])].sort((a, b) => b.ordinal - a.ordinal);
}
