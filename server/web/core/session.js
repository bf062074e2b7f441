// Who is signed in, and the lock. A lock ends the session at the service and
// hides the page, which keeps what was typed; signing in again shows it.
import {ask, Offline, session as api} from './api.js';
import {prefs} from './prefs.js';

const LAST = 'lensclerk.last'; // network and user, for the next sign-in
const END = 'lensclerk.end'; // a session to be ended when the service answers
const TICK_MS = 5000;

class Session extends EventTarget {
    state = 'starting'; // then 'out', 'in' or 'locked'
    me = null;
    touched = Date.now();
    channel = new BroadcastChannel('lensclerk');

    constructor() {
        super();
        api.addEventListener('ended', () => this.hide());
        this.channel.onmessage = ({data}) => {
            if (data === 'touched') this.touched = Date.now();
            if (data === 'locked') this.hide();
            if (data === 'left') location.reload();
        };
        for (const kind of ['pointerdown', 'keydown', 'input'])
            addEventListener(kind, () => this.touch(), true);
        setInterval(() => this.tick(), TICK_MS);
    }

    get last() {
        try {
            return JSON.parse(localStorage.getItem(LAST) || '{}');
        } catch {
            return {};
        }
    }

    become(state) {
        this.state = state;
        this.dispatchEvent(new Event('change'));
    }

    touch() {
        const now = Date.now();
        if (now - this.touched > 1000) this.channel.postMessage('touched');
        this.touched = now;
    }

    tick() {
        const idle = Date.now() - this.touched;
        if (this.state === 'in' && idle > prefs.get('idle') * 60000)
            this.lock();
    }

    async start() {
        await this.endKept();
        try {
            await this.know(true);
        } catch (e) {
            if (e instanceof Offline) setTimeout(() => this.start(), 2000);
            this.become(e instanceof Offline ? 'starting' : 'out');
        }
    }

    async know(quiet) {
        this.me = (await ask('GET', '/v1/me', {quiet})).body;
        prefs.take(this.me.id);
        localStorage.setItem(LAST, JSON.stringify(
            {network: this.me.network, user: this.me.user}));
        this.become('in');
    }

    async signIn(network, user, password) {
        const before = this.me;
        await ask('POST', '/v1/sessions',
            {body: {network, user, password}, quiet: true});
        localStorage.removeItem(END);
        this.touched = Date.now();
        if (before && (before.user !== user || before.network !== network)) {
            this.channel.postMessage('left');
            location.reload(); // nothing of the other one's stays
            return;
        }
        await this.know(true);
    }

    async endKept() {
        if (localStorage.getItem(END)) await this.end();
    }

    async end() {
        localStorage.setItem(END, '1');
        try {
            await ask('DELETE', '/v1/sessions/current', {quiet: true});
        } catch (e) {
            if (e instanceof Offline) return; // at the next start
        }
        localStorage.removeItem(END);
    }

    hide() {
        if (this.state === 'in') this.become('locked');
    }

    async lock() {
        this.hide();
        this.channel.postMessage('locked');
        await this.end();
    }

    async leave() {
        await this.end();
        this.channel.postMessage('left');
        location.hash = '';
        location.reload();
    }
}

export const session = new Session();
