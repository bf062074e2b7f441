// Signing in; also the lock, with who it was and nothing of the page.
import {Offline} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {session} from '../core/session.js';
import {t} from '../core/words.js';

class SignIn extends Part {
    static properties = {
        locked: {type: Boolean}, busy: {state: true}, fault: {state: true},
    };

    static styles = [look, css`
        :host {
            display: grid;
            place-items: center;
            min-height: 80vh;
            padding: 1rem;
        }
        form {
            display: grid;
            gap: 0.9rem;
            width: min(22rem, 100%);
        }
    `];

    firstUpdated() {
        const field = this.locked || session.last.user ? 'password' : 'network';
        this.renderRoot.querySelector(`[name=${field}]`)?.focus();
    }

    async submit(e) {
        e.preventDefault();
        const form = new FormData(e.target);
        this.busy = true;
        this.fault = null;
        try {
            await session.signIn(form.get('network').trim(),
                form.get('user').trim(), form.get('password'));
        } catch (err) {
            this.fault = err instanceof Offline ? t('fault.offline')
                : err.status === 401 ? t('sign-in.refused') : err.message;
            this.renderRoot.querySelector('[name=password]').select();
        }
        this.busy = false;
    }

    render() {
        const last = session.last;
        return html`<form @submit=${this.submit}>
            <h1>${t(this.locked ? 'lock.title' : 'sign-in.title')}</h1>
            ${this.locked ? html`<p class="soft">${t('lock.text')}</p>`
                : nothing}
            <label>${t('sign-in.network')}
                <input name="network" required maxlength="63"
                    autocomplete="organization" autocapitalize="none"
                    .value=${last.network || ''}></label>
            <label>${t('sign-in.user')}
                <input name="user" required maxlength="63"
                    autocomplete="username" autocapitalize="none"
                    .value=${last.user || ''}></label>
            <label>${t('sign-in.password')}
                <input name="password" type="password" required maxlength="200"
                    autocomplete="current-password"></label>
            ${this.fault ? html`<p class="fault" role="alert">
                ${this.fault}</p>` : nothing}
            <button class="main" ?disabled=${this.busy}>
                ${t(this.locked ? 'lock.open' : 'sign-in.go')}</button>
            <p class="soft">${t('shell.aid')}</p>
        </form>`;
    }
}

customElements.define('lens-sign-in', SignIn);
