// Two tablets at one exam: what stands there, what was meant here, by eye and
// field. Neither is taken in silence.
import {css, html, look, Part} from '../core/part.js';
import {standing} from '../core/lens.js';
import {queue} from '../core/queue.js';
import {t, word} from '../core/words.js';
import {told} from './field.js';
import {stepText} from './step-log.js';

class Conflict extends Part {
    static properties = {conflict: {attribute: false}};

    static styles = [look, css`
        :host {
            border: 2px solid var(--accent);
            border-radius: 0.5rem;
            padding: 0.7rem;
            background: var(--sheet);
        }
    `];

    get from() {
        const {item, now} = this.conflict, {body} = item;
        if (item.kind === 'section') return now[body.name] ?? null;
        const at = side => standing(now.working, side, body.field);
        return body.eye === 'both'
            ? {right: at('right'), left: at('left')} : at(body.eye);
    }

    render() {
        const {item} = this.conflict, {body} = item;
        if (item.kind === 'section') return html`<div role="alertdialog"
            aria-label=${t('conflict.title')}><h2>${t('conflict.title')}</h2>
            <p>${t('conflict.section', {name: word('section', body.name)})}</p>
            ${this.buttons()}</div>`;
        const theirs = {...body, to: this.from};
        return html`<div role="alertdialog" aria-label=${t('conflict.title')}>
            <h2>${t('conflict.title')}</h2>
            <p>${t('conflict.there')} <span class="figure">
                ${told(stepText(theirs), stepText(theirs, true))}</span></p>
            <p>${t('conflict.here')} <span class="figure">
                ${told(stepText(body), stepText(body, true))}</span></p>
            ${this.buttons()}</div>`;
    }

    buttons() {
        return html`<div class="row">
            <button class="main" @click=${() => queue.keepTheirs()}>
                ${t('conflict.keep-theirs')}</button>
            <button @click=${() => queue.keepOurs(this.from)}>
                ${t('conflict.keep-ours')}</button></div>`;
    }
}

customElements.define('lens-conflict', Conflict);
