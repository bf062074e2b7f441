// A signed Rx to read, to print or to hand over, on one page.
import {css, html, look, nothing, Part} from '../core/part.js';
import {bornText, dayText} from '../core/dates.js';
import {
    axisText, eyeText, figure, signed, sphereSpoken, sphereText, spoken,
} from '../core/power.js';
import {Watch} from '../core/store.js';
import {t, word} from '../core/words.js';
import {eyeTold, told} from '../parts/field.js';
import {nameText} from '../parts/person.js';
import {pdText} from '../parts/reading-view.js';

const SIDES = ['right', 'left'];

class Rx extends Part {
    static properties = {exam: {}};

    static styles = [look, css`
        article {
            max-width: 48rem;
            margin: auto;
            display: grid;
            gap: 0.9rem;
        }
        .heads {
            display: grid;
            grid-template-columns: 1fr 1fr;
            gap: 1rem;
        }
        table {
            border-collapse: collapse;
            width: 100%;
            font-size: 1.15rem;
        }
        th, td {
            border: 1px solid var(--edge);
            padding: 0.5rem;
            text-align: start;
        }
        .empty {
            background: linear-gradient(to top right, transparent 48%,
                var(--soft) 49%, var(--soft) 51%, transparent 52%);
        }
    `];

    rx = new Watch(this, () => `/v1/exams/${this.exam}/rx`);
    plus = new Watch(this, () => `/v1/exams/${this.exam}/rx?cylinder=plus`);

    cell(text, heard) {
        return text ? html`<td class="figure">${heard ? told(text, heard)
            : text}</td>` : html`<td class="empty"><span class="hidden">
                ${t('power.absent')}</span></td>`;
    }

    row(rx, side) {
        const eye = rx[side];
        const other = eye?.lens && eye.lens !== 'power';
        return html`<tr><th scope="row">${t(`side.${side}.mark`)}
            ${t(`side.${side}`)}</th>
            ${other || !eye ? html`<td colspan="5">${eyeText(eye)}</td>` : html`
                ${this.cell(sphereText(eye.sphere), sphereSpoken(eye.sphere))}
                ${eye.cylinder ? [
                    this.cell(signed(eye.cylinder), spoken(eye.cylinder)),
                    this.cell(axisText(eye.axis), eye.axis)]
                    : [this.cell(), this.cell()]}
                ${this.cell((eye.prism || []).map(p => t('power.prism',
                    {amount: figure(p.amount), base: t(`base.${p.base}`)}))
                    .join(', '))}
                ${eye.add ? this.cell(signed(eye.add), spoken(eye.add))
                    : this.cell()}`}
            ${this.cell(eye?.acuity?.text)}</tr>`;
    }

    render() {
        const rx = this.rx.value, plus = this.plus.value;
        if (!rx) return html`<p class=${this.rx.fault ? 'fault' : 'soft'}>
            ${this.rx.fault?.message || t('word.loading')}</p>`;
        const by = rx.signed_by;
        return html`<article>
            <div class="row no-print"><button class="main" @click=${() =>
                print()}>${t('word.print')}</button>
                <a class="button" href="#desk/${rx.patient.id}">
                    ${t('word.back')}</a></div>
            <div class="heads">
                <div><h1>${t('rx.title')}</h1>
                    <p>${t('rx.edition', {n: rx.edition})}
                    ${rx.reason ? html`· ${rx.reason}` : nothing}</p></div>
                <div><strong>${rx.clinic.name}</strong>
                    <p>${[rx.clinic.address, rx.clinic.telephone].filter(
                        Boolean).join(' · ')}</p></div>
            </div>
            <p><bdi><strong>${nameText(rx.patient)}</strong></bdi>,
                ${bornText(rx.patient.born)}, ${rx.patient.record_number}</p>
            <div class="wide" tabindex="0" role="group"
                aria-label=${t('rx.title')}><table>
                <tr><td></td>${['sphere', 'cylinder', 'axis', 'prism', 'add',
                    'acuity'].map(n => html`<th scope="col">${t(`rx.${n}`)}
                    </th>`)}</tr>
                ${SIDES.map(side => this.row(rx, side))}</table></div>
            ${plus && SIDES.some(s => rx[s]?.cylinder) ? html`<p class="soft">
                ${t('rx.plus')} ${SIDES.map(s => html`<span class="figure">
                    ${t(`side.${s}.mark`)} ${eyeTold(plus[s])}</span> `)}</p>`
                : nothing}
            <p>${[rx.vertex_mm ? t('reading.vertex',
                {mm: figure(rx.vertex_mm, 1)}) : '', pdText(rx.pd_mm),
            rx.purpose ? word('purpose', rx.purpose) : ''].filter(Boolean)
                .join(' · ')}</p>
            <p>${t('rx.signed', {name: by.name, day: dayText(rx.signed_at)})}
                ${by.licence_number ? t('rx.licence',
                    {n: by.licence_number}) : nothing}
                ${rx.expires_on ? t('rx.valid',
                    {day: dayText(`${rx.expires_on}T12:00:00`)})
                    : t('rx.no-expiry')}</p>
            <p class="soft">${t('rx.local')}</p></article>`;
    }
}

customElements.define('lens-rx', Rx);
