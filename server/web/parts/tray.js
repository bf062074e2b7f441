// Readings that nobody has been given yet. Sends "seek" with what one says of
// its patient; gives one to the person in hand.
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {agoText} from '../core/dates.js';
import {stale, Watch} from '../core/store.js';
import {Writer} from '../core/write.js';
import {t, word} from '../core/words.js';
import {cautionList, eyeTold, faultNote} from './field.js';
import {nameText, personLine} from './person.js';

const TRAY = '/v1/readings?unclaimed=true&limit=50';

class Tray extends Part {
    static properties = {person: {attribute: false}};

    static styles = [look, css`
        li {
            padding: 0.6rem;
            background: var(--sheet);
            border-radius: 0.5rem;
        }
        ul {
            list-style: none;
            margin: 0.5rem 0 0;
            padding: 0;
            display: grid;
            gap: 0.5rem;
        }
    `];

    tray = new Watch(this, () => TRAY);
    writer = new Writer(this);

    async give(reading) {
        const patient = this.person.id;
        const done = await this.writer.run(async () => {
            const {etag} = await ask('GET', `/v1/readings/${reading.id}`);
            return ask('POST', `/v1/readings/${reading.id}/claim`,
                {body: {patient}, match: etag});
        });
        if (!done) return;
        stale('/v1/readings', `/v1/patients/${patient}`);
        this.dispatchEvent(new CustomEvent('given', {detail: reading}));
    }

    line(reading, side) {
        const eye = reading[side];
        if (!eye) return nothing;
        const mark = t(side === 'unspecified' ? 'side.unspecified'
            : `side.${side}.mark`);
        return html`<p class="figure"><span class="soft">${mark}</span>
            ${eyeTold(eye)}</p>`;
    }

    item(reading) {
        const said = reading.patient_as_sent;
        const words = said && [said.family, said.given, said.born,
            said.record_number].filter(Boolean);
        return html`<li>
            <p><strong>${word('kind', reading.kind)}</strong>
                <span class="soft">${agoText(reading.taken_at)}
                ${reading.device?.serial || ''}</span></p>
            <p>${said ? html`${t('tray.says')} ${personLine(said)}`
                : html`<span class="soft">${t('tray.says-nothing')}</span>`}</p>
            ${['right', 'left', 'unspecified'].map(
                side => this.line(reading, side))}
            ${cautionList(reading.cautions)}
            <div class="row">
                ${words?.length ? html`<button @click=${() =>
                    this.dispatchEvent(new CustomEvent('seek',
                        {detail: said.family || said.record_number
                            || words[0]}))}>
                    ${t('tray.seek')}</button>` : nothing}
                ${this.person ? html`<button ?disabled=${this.writer.busy}
                    @click=${() => this.give(reading)}>${t('tray.give',
                        {name: nameText(this.person)})}</button>` : nothing}
            </div></li>`;
    }

    render() {
        const items = this.tray.value?.items || [];
        return html`<h2>${t('tray.title')}</h2>
            ${faultNote(this.writer)}
            <ul>${items.map(r => this.item(r))}</ul>
            ${this.tray.value && !items.length ? html`<p class="soft">
                ${t('tray.empty')}</p>` : nothing}`;
    }
}

customElements.define('lens-tray', Tray);
