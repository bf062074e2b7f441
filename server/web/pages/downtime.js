// A sheet for a day without the service: who comes, with the last final Rx.
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {bornText, dayText, timeText, today} from '../core/dates.js';
import {session} from '../core/session.js';
import {faultOf} from '../core/write.js';
import {t} from '../core/words.js';
import {eyeTold} from '../parts/field.js';
import {nameText} from '../parts/person.js';

class Downtime extends Part {
    static properties = {rows: {state: true}, fault: {state: true}};

    static styles = [look, css`
        h1 {
            margin-block: 0.6rem;
        }
        table {
            border-collapse: collapse;
            width: 100%;
        }
        th, td {
            border: 1px solid var(--edge);
            padding: 0.35rem;
            text-align: start;
            vertical-align: top;
        }
        td.room {
            min-width: 9rem;
        }
    `];

    connectedCallback() {
        super.connectedCallback();
        this.read();
    }

    async read() {
        try {
            const {body} = await ask('GET', `/v1/visits?date=${today()}`
                + `&limit=200${session.me.clinic
                    ? `&clinic=${session.me.clinic}` : ''}`);
            const rows = [];
            for (const visit of body.items.reverse()) {
                if (visit.status === 'cancelled') continue;
                rows.push({visit, rx: await this.last(visit.patient)});
            }
            this.rows = rows;
        } catch (e) {
            this.fault = faultOf(e).text;
        }
    }

    async last(patient) {
        const {body} = await ask('GET', `/v1/patients/${patient}/timeline`
            + '?limit=50');
        return body.items.find(i => i.kind === 'final');
    }

    render() {
        return html`<div class="row no-print">
                <button class="main" @click=${() => print()}
                    ?disabled=${!this.rows}>${t('word.print')}</button>
                <a class="button" href="#desk">${t('word.back')}</a></div>
            <h1>${t('downtime.title')}, ${dayText(new Date())}</h1>
            ${this.fault ? html`<p class="fault">${this.fault}</p>` : nothing}
            ${!this.rows ? html`<p class="soft">${t('word.loading')}</p>`
                : html`<div class="wide" tabindex="0" role="group"
                    aria-label=${t('downtime.title')}><table>
                <tr>${['time', 'person', 'rx', 'notes'].map(n => html`<th
                    scope="col">${t(`downtime.${n}`)}</th>`)}</tr>
                ${this.rows.map(({visit, rx}) => html`<tr>
                    <td class="figure">${timeText(visit.at)}</td>
                    <td><bdi>${nameText(visit.person)}</bdi><br>
                        ${visit.person.record_number}
                        ${bornText(visit.person.born)}<br>
                        ${visit.reason || ''}</td>
                    <td>${rx ? html`${['right', 'left'].map(s => html`<span
                        class="figure">${t(`side.${s}.mark`)}
                        ${eyeTold(rx[s])}</span><br>`)}${dayText(rx.at)}`
                        : t('rx.none')}</td>
                    <td class="room"></td></tr>`)}</table></div>`}
            <p class="soft">${t('downtime.keep')}</p>`;
    }
}

customElements.define('lens-downtime', Downtime);
