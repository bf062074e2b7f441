// The preferences of who is signed in, in a dialog.
import {css, html, look, Part} from '../core/part.js';
import {prefs} from '../core/prefs.js';
import {session} from '../core/session.js';
import {LANGUAGES, t} from '../core/words.js';

const CHOICES = {
    theme: ['lane', 'day'], mark: ['.', ','], hand: ['right', 'left'],
    idle: [2, 5, 10, 20],
};

class Settings extends Part {
    static styles = [look, css`
        dialog {
            border: 1px solid var(--edge);
            border-radius: 0.6rem;
            background: var(--sheet);
            color: var(--ink);
            width: min(24rem, 92vw);
        }
        dialog::backdrop {
            background: rgb(0 0 0 / 60%);
        }
        form {
            display: grid;
            gap: 0.8rem;
        }
    `];

    show() {
        this.renderRoot.querySelector('dialog').showModal();
    }

    choice(name) {
        const now = prefs.get(name);
        return html`<label>${t(`prefs.${name}`)}
            <select name=${name} @change=${e => {
                const value = e.target.value;
                prefs.set(name, name === 'idle' ? Number(value) : value);
            }}>${CHOICES[name].map(v => html`<option value=${v}
                ?selected=${v === now}>${t(`prefs.${name}.${v}`)}</option>`)}
            </select></label>`;
    }

    render() {
        return html`<dialog aria-labelledby="title">
            <form method="dialog">
                <h2 id="title">${t('prefs.title')}</h2>
                ${Object.keys(CHOICES).map(name => this.choice(name))}
                <label>${t('prefs.language')}
                    <select name="language" @change=${e =>
                        prefs.set('language', e.target.value)}>
                        ${Object.entries(LANGUAGES).map(([code, {name}]) =>
                            html`<option value=${code} ?selected=${
                                code === prefs.get('language')}>${name}
                            </option>`)}
                    </select></label>
                <div class="row">
                    <button class="main" value="done">${t('word.done')}
                    </button>
                    <button type="button" @click=${() => session.leave()}>
                        ${t('shell.sign-out')}</button>
                </div>
            </form>
        </dialog>`;
    }
}

customElements.define('lens-settings', Settings);
