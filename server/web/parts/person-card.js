// The person in hand: who, what is needed today, glasses, Rx, exams, orders.
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {agoText, dayText, timeText, today} from '../core/dates.js';
import {stale, Watch} from '../core/store.js';
import {Writer} from '../core/write.js';
import {t, word} from '../core/words.js';
import {cautionList, eyeTold, faultNote} from './field.js';
import {nameText, personLine} from './person.js';

function eyeLines(entry) {
    return ['right', 'left'].map(side => html`<p class="figure">
        <span class="soft">${t(`side.${side}.mark`)}</span>
        ${eyeTold(entry?.[side])}</p>`);
}

function isToday(instant) {
    const at = new Date(instant), now = new Date();
    return at.toDateString() === now.toDateString();
}

class PersonCard extends Part {
    static properties = {patient: {}, visiting: {state: true}};

    static styles = [look, css`
        :host {
            margin-top: 0.8rem;
        }
        .grid {
            display: grid;
            gap: 0.7rem;
            grid-template-columns: repeat(auto-fit, minmax(17rem, 1fr));
            margin-top: 0.7rem;
        }
        ul {
            list-style: none;
            margin: 0.3rem 0 0;
            padding: 0;
            display: grid;
            gap: 0.5rem;
        }
        form {
            display: grid;
            gap: 0.6rem;
            margin-top: 0.5rem;
        }
    `];

    who = new Watch(this, () => this.at(''));
    timeline = new Watch(this, () => this.at('/timeline?limit=20'));
    habitual = new Watch(this, () => this.at('/habitual'));
    exams = new Watch(this, () => this.of('exams'));
    visits = new Watch(this, () => this.of('visits'));
    orders = new Watch(this, () => this.of('orders'));
    writer = new Writer(this);

    at(rest) {
        return this.patient ? `/v1/patients/${this.patient}${rest}` : '';
    }

    of(family) {
        return this.patient ? `/v1/${family}?patient=${this.patient}&limit=8`
            : '';
    }

    async beginVisit(e) {
        e.preventDefault();
        const reason = new FormData(e.target).get('reason').trim();
        const done = await this.writer.post('/v1/visits',
            {patient: this.patient, ...(reason ? {reason} : {})});
        if (!done) return;
        this.visiting = false;
        stale('/v1/visits');
    }

    async beginExam(visit) {
        const done = await this.writer.post('/v1/exams', {visit: visit.id});
        if (!done) return;
        stale('/v1/exams', '/v1/visits');
        location.hash = `exam/${done.body.id}`;
    }

    async arrived(visit) {
        const done = await this.writer.run(async () => {
            const path = `/v1/visits/${visit.id}`;
            const {etag} = await ask('GET', path);
            return ask('PATCH', path,
                {body: {status: 'arrived'}, match: etag});
        });
        if (done) stale('/v1/visits');
    }

    // What the day's work still lacks, by what was measured today.
    needs() {
        const items = this.timeline.value?.items;
        if (!items) return [];
        const now = items.filter(i => isToday(i.at));
        const has = kind => now.some(i => i.kind === kind);
        const needs = [];
        if (!has('autorefraction') && !has('retinoscopy'))
            needs.push('objective');
        if (!has('lensometry')) needs.push('glasses');
        if (!items.some(i => i.pd_mm)) needs.push('pd');
        return needs;
    }

    visitRow(visit) {
        const exam = (this.exams.value?.items || []).find(
            x => x.visit === visit.id);
        const open = ['planned', 'arrived', 'in-progress'].includes(
            visit.status);
        return html`<li class="row"><span>${isToday(visit.at)
            ? timeText(visit.at) : dayText(visit.at)}
            <span class="soft">${[word('visit', visit.status), visit.reason]
                .filter(Boolean).join(' · ')}</span></span>
            ${visit.status === 'planned' ? html`<button @click=${() =>
                this.arrived(visit)}>${t('visit.arrive')}</button>` : nothing}
            ${exam ? html`<a class="button" href="#exam/${exam.id}">
                ${t('exam.open')} (${word('status', exam.status)})</a>`
                : open ? html`<button @click=${() => this.beginExam(visit)}>
                    ${t('exam.begin')}</button>` : nothing}</li>`;
    }

    rx() {
        const last = (this.timeline.value?.items || []).find(
            i => i.kind === 'final');
        if (!last) return html`<p class="soft">${t('rx.none')}</p>`;
        const over = last.expires_on && last.expires_on < today();
        return html`${eyeLines(last)}
            <p class="soft">${dayText(last.at)}, ${last.signed_by?.name}.
            ${last.expires_on ? t(over ? 'rx.expired' : 'rx.valid',
                {day: dayText(`${last.expires_on}T12:00:00`)})
                : t('rx.no-expiry')}</p>
            <a class="button" href="#rx/${last.exam}">${t('rx.show')}</a>`;
    }

    glasses() {
        const {entry, because} = this.habitual.value || {};
        if (!entry) return html`<p class="soft">${t('habitual.none')}</p>`;
        return html`${eyeLines(entry)}<p class="soft">${entry.pair || ''}
            ${agoText(entry.at)} · ${because}</p>`;
    }

    exam(x) {
        return html`<li class="row"><span>${dayText(x.performed_at)}
            <span class="soft">${word('status', x.status)}</span></span>
            <a class="button" href="#exam/${x.id}">${t('exam.open')}</a></li>`;
    }

    render() {
        const who = this.who.value;
        if (!who) return html`<p class="soft">${this.who.fault
            ? t('fault.offline') : t('word.loading')}</p>`;
        const needs = this.needs();
        const orders = this.orders.value?.items || [];
        const visits = this.visits.value?.items || [];
        const alone = (this.exams.value?.items || []).filter(
            x => !visits.some(v => v.id === x.visit));
        return html`
            <h2>${personLine(who)}</h2>
            ${who.telephone ? html`<p class="soft"><bdi>${who.telephone}</bdi>
                </p>` : nothing}
            ${cautionList(who.cautions)}
            ${needs.length ? html`<p>${t('need.title')}
                ${needs.map(n => t(`need.${n}`)).join(', ')}.</p>` : nothing}
            <div class="row">
                <button @click=${() => {
                    this.visiting = !this.visiting;
                }} aria-expanded=${this.visiting ? 'true' : 'false'}>
                    ${t('visit.begin')}</button>
                <a class="button" href="#timeline/${who.id}">
                    ${t('timeline.title')}</a>
            </div>
            ${this.visiting ? html`<form class="sheet"
                @submit=${this.beginVisit}><label>${t('visit.reason')}
                    <input name="reason" maxlength="500"></label>
                <button class="main">${t('visit.begin')}</button></form>`
                : nothing}
            ${faultNote(this.writer)}
            <div class="grid">
                <section class="sheet"><h3>${t('visit.title')}</h3>
                    <ul>${visits.map(v => this.visitRow(v))}
                        ${alone.map(x => this.exam(x))}</ul></section>
                <section class="sheet"><h3>${t('habitual.title')}</h3>
                    ${this.glasses()}</section>
                <section class="sheet"><h3>${t('rx.title')}</h3>
                    ${this.rx()}</section>
                <section class="sheet"><h3>${t('order.title')}</h3>
                    <ul>${orders.map(o => html`<li>
                        <span class="figure">${o.number}</span>
                        ${word('order', o.status)}
                        <a class="button" target="_blank"
                            href="/v1/orders/${o.id}.html">${t('order.sheet')}
                        </a></li>`)}</ul>
                    ${orders.length ? nothing : html`<p class="soft">
                        ${t('order.none')}</p>`}</section>
                <section class="sheet"><h3>${t('timeline.latest')}</h3>
                    <ul>${(this.timeline.value?.items || []).slice(0, 6).map(
                        i => html`<li>${word('kind', i.kind)}
                            <span class="soft">${agoText(i.at)}
                            ${i.condition?.cycloplegic
                                ? t('reading.cycloplegic', {drug:
                                    i.condition.drug || ''}) : nothing}</span>
                            ${eyeLines(i)}</li>`)}</ul></section>
            </div>
            <span class="hidden" role="status">${nameText(who)}</span>`;
    }
}

customElements.define('lens-person-card', PersonCard);
