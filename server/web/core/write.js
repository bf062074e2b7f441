// A change that somebody waits for: a button that is busy, faults by pointer.
import {ask, newKey, Offline, Problem} from './api.js';
import {t} from './words.js';

// {text, errors: [{pointer, detail}]} of whatever was thrown.
export function faultOf(e) {
    if (e instanceof Offline) return {text: t('fault.offline'), errors: []};
    if (e instanceof Problem) return {text: e.message, errors: e.errors};
    throw e;
}

// Gives a component .busy, .fault and run(job); its key stays the same until
// the job is through, so that a second try is no second act.
export class Writer {
    busy = false;
    fault = null;
    key = newKey();

    constructor(host) {
        this.host = host;
        host.addController(this);
    }

    async run(job) {
        if (this.busy) return undefined;
        this.busy = true;
        this.fault = null;
        this.host.requestUpdate();
        try {
            const done = await job(this.key);
            this.key = newKey();
            return done;
        } catch (e) {
            this.fault = faultOf(e);
            if (e instanceof Problem) this.key = newKey();
            return undefined;
        } finally {
            this.busy = false;
            this.host.requestUpdate();
        }
    }

    post(path, body, more = {}) {
        return this.run(key => ask('POST', path, {body, key, ...more}));
    }

    // What was said about the member at pointer, in one text.
    about(pointer) {
        return (this.fault?.errors || []).filter(e => e.pointer === pointer)
            .map(e => e.detail).join('; ');
    }
}

// A question whose answer only counts while no newer one has been asked.
export class Latest {
    fault = null;
    turn = 0;

    constructor(host) {
        this.host = host;
    }

    async run(job) {
        const turn = ++this.turn;
        let done;
        try {
            done = await job();
        } catch (e) {
            if (turn === this.turn) this.fault = faultOf(e);
            this.host.requestUpdate();
            return undefined;
        }
        if (turn !== this.turn) return undefined;
        this.fault = null;
        this.host.requestUpdate();
        return done;
    }
}
