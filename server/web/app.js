// The shell: who is signed in, which page stands behind the #, the lock.
import './core/live.js';
import './core/queue.js';
import './parts/settings.js';
import './parts/sign-in.js';
import {css, html, look, nothing, Part} from './core/part.js';
import {prefs} from './core/prefs.js';
import {session} from './core/session.js';
import {t, word} from './core/words.js';

// A page: its module, loaded when it is first shown, and whose it is; alone:
// without the shell's head, for the patient's eyes.
const STAFF = ['desk', 'prescriber', 'admin', 'auditor'];
const PAGES = {
    desk: {load: () => import('./pages/desk.js'), roles: ['desk', 'prescriber'],
        show: id => html`<lens-desk patient=${id || ''}></lens-desk>`},
    rx: {load: () => import('./pages/rx.js'), roles: STAFF,
        show: id => html`<lens-rx exam=${id}></lens-rx>`},
    exam: {load: () => import('./pages/exam.js'), roles: STAFF,
        show: id => html`<lens-exam exam=${id}></lens-exam>`},
    timeline: {load: () => import('./pages/timeline.js'), roles: STAFF,
        show: id => html`<lens-timeline patient=${id}></lens-timeline>`},
    difference: {load: () => import('./pages/difference.js'), roles: STAFF,
        show: id => html`<lens-difference exam=${id}></lens-difference>`,
        alone: true},
    downtime: {load: () => import('./pages/downtime.js'),
        roles: ['desk', 'prescriber'],
        show: () => html`<lens-downtime></lens-downtime>`},
};

class App extends Part {
    static properties = {page: {state: true}, broken: {state: true}};

    static styles = [look, css`
        header {
            display: flex;
            flex-wrap: wrap;
            gap: 0.4rem;
            align-items: center;
            padding: 0.3rem 0.7rem;
            border-bottom: 1px solid var(--hair);
        }
        header .name {
            border-color: transparent;
            background: none;
            padding-inline: 0;
            font-weight: 600;
            margin-inline-end: auto;
        }
        header .who {
            color: var(--soft);
        }
        main {
            padding: 0.7rem;
        }
        .skip:not(:focus) {
            position: absolute;
            inset-inline-start: -99rem;
        }
        [hidden] {
            display: none;
        }
    `];

    connectedCallback() {
        super.connectedCallback();
        session.addEventListener('change', () => this.changed());
        addEventListener('hashchange', () => this.go());
        session.start();
    }

    changed() {
        if (session.state === 'in') this.go();
        this.requestUpdate();
    }

    home() {
        const role = session.me?.role;
        return PAGES.desk.roles.includes(role) ? 'desk' : '';
    }

    async go() {
        const [name, id] = location.hash.slice(1).split('/');
        const known = PAGES[name]?.roles.includes(session.me?.role);
        const page = known ? name : this.home();
        this.broken = null;
        try {
            await PAGES[page]?.load();
        } catch {
            this.broken = t('fault.no-page'); // a cut network, an update
        }
        this.page = {name: page, id: known ? id : undefined};
    }

    header() {
        const day = prefs.get('theme') === 'day';
        return html`<header class="no-print">
            <button class="skip" @click=${() =>
                this.renderRoot.querySelector('main').focus()}>
                ${t('shell.skip')}</button>
            <a class="name button" href="#desk">Lensclerk</a>
            <span class="who">${session.me.user} ·
                ${word('role', session.me.role)}</span>
            <button @click=${() => prefs.set('theme', day ? 'lane' : 'day')}>
                ${t(day ? 'shell.to-lane' : 'shell.to-day')}</button>
            <button @click=${() => this.renderRoot.querySelector(
                'lens-settings').show()}>${t('prefs.title')}</button>
            <button @click=${() => session.lock()}>${t('shell.lock')}</button>
        </header>`;
    }

    content() {
        if (this.broken) return html`<p class="fault">${this.broken}</p>`;
        if (!this.page) return nothing;
        if (!this.page.name) return html`<p class="sheet">
            ${t('shell.no-page', {role: word('role', session.me.role)})}
            <a href="/docs/api">${t('shell.api')}</a></p>`;
        return PAGES[this.page.name].show(this.page.id);
    }

    render() {
        const {state} = session;
        if (state === 'starting') return html`<main class="soft">
            ${t('shell.starting')}</main>`;
        if (state === 'out')
            return html`<main><lens-sign-in></lens-sign-in></main>`;
        const locked = state === 'locked';
        return html`
            ${locked ? html`<main><lens-sign-in locked></lens-sign-in></main>`
                : nothing}
            <div ?hidden=${locked} ?inert=${locked}>
                ${PAGES[this.page?.name]?.alone ? nothing : this.header()}
                <main id="main" tabindex="-1">${this.content()}</main>
                <lens-settings></lens-settings>
            </div>`;
    }
}

customElements.define('lens-app', App);
