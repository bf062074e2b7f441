// A patient's refraction over time: M with the noise band of its condition,
// astigmatism as vectors, acuity, the finals as ticks; any two points give
// their delta; a table says the same.
import uPlot from 'uplot';
import sheet from 'uplot/dist/uPlot.min.css';
import {css, html, look, nothing, Part} from '../core/part.js';
import {unsafeCSS} from 'lit';
import {ask} from '../core/api.js';
import {dayText, yearsOf} from '../core/dates.js';
import {eyeText, figure, signed, spoken} from '../core/power.js';
import {prefs} from '../core/prefs.js';
import {Watch} from '../core/store.js';
import {Latest} from '../core/write.js';
import {t, word} from '../core/words.js';
import {eyeTold, faultNote, told} from '../parts/field.js';
import {personLine} from '../parts/person.js';

const SIDES = ['right', 'left'];
const PLOTS = {m: 250, vectors: 160, acuity: 130}; // their heights
const NEAR_PX = 24;

// How the optics core calls the way in which a kind of entry was found.
const METHODS = {
    autorefraction: 'autorefraction', final: 'subjective',
    subjective: 'subjective', retinoscopy: 'retinoscopy',
    lensometry: 'lensometry',
};

function equivalent(eye) {
    if (typeof eye?.m === 'number') return eye.m;
    if (typeof eye?.sphere !== 'number') return null;
    return eye.sphere + (eye.cylinder || 0) / 2;
}

function seconds(item) {
    return new Date(item.at).getTime() / 1000;
}

class Timeline extends Part {
    static properties = {
        patient: {}, key: {state: true}, table: {state: true},
        picked: {state: true}, delta: {state: true}, band: {state: true},
    };

    static styles = [look, unsafeCSS(sheet), css`
        .row {
            margin-block: 0.5rem;
        }
        table {
            border-collapse: collapse;
            width: 100%;
        }
        th, td {
            border-bottom: 1px solid var(--hair);
            padding: 0.3rem 0.5rem;
            text-align: start;
        }
        td.figure {
            min-width: 11rem;
            white-space: normal; /* prisms go beneath */
        }
        td.one {
            min-width: 4rem;
        }
        .plots {
            direction: ltr;
            overflow: hidden;
        }
        .u-legend {
            display: none;
        }
        h2 {
            margin-top: 0.8rem;
        }
    `];

    who = new Watch(this, () => `/v1/patients/${this.patient}`);
    items = new Watch(this, () => `/v1/patients/${this.patient}/timeline`
        + '?limit=500');
    limits = new Latest(this);
    deltas = new Latest(this);
    picked = [];
    plots = [];

    connectedCallback() {
        super.connectedCallback();
        this.size = new ResizeObserver(() => this.draw());
        this.size.observe(this);
        this.paper = matchMedia('print');
        this.onPaper = () => this.draw();
        this.paper.addEventListener('change', this.onPaper);
        prefs.addEventListener('change', this.onPaper);
    }

    disconnectedCallback() {
        super.disconnectedCallback();
        this.size.disconnect();
        this.paper.removeEventListener('change', this.onPaper);
        prefs.removeEventListener('change', this.onPaper);
        for (const plot of this.plots) plot.destroy();
    }

    // Entries with powers by condition; the one with most stands first.
    get series() {
        const by = new Map();
        for (const item of [...(this.items.value?.items || [])].reverse()) {
            if (SIDES.every(s => equivalent(item[s]) === null)) continue;
            const key = item.condition_key ?? item.kind;
            by.set(key, [...(by.get(key) || []), item]);
        }
        return new Map([...by].sort((a, b) => b[1].length - a[1].length));
    }

    get shown() {
        const {series} = this;
        const key = series.has(this.key) ? this.key : [...series.keys()][0];
        return {key, list: series.get(key) || []};
    }

    get finals() {
        return (this.items.value?.items || []).filter(i => i.kind === 'final');
    }

    name(key) {
        const [kind, condition, ...worn] = key.split('/');
        return [word('kind', kind), condition
            && word('condition', condition), worn.join('/')].filter(
            Boolean).join(', ');
    }

    updated() {
        this.draw();
        this.findBand();
    }

    // The 95 percent limits of a change in M by this way at this age.
    async findBand() {
        const {key, list} = this.shown;
        if (!key || this.bandOf === key || !list.length) return;
        this.bandOf = key;
        const method = METHODS[key.split('/')[0]];
        this.band = null;
        if (!method) return;
        const lens = {sphere: 0, method,
            cycloplegic: key.endsWith('/cycloplegic')};
        const age = yearsOf(this.who.value?.born);
        const done = await this.limits.run(() => ask('POST',
            '/v1/optics/change-probability', {body: {old: lens, new: lens,
                ...(age === undefined ? {} : {age_years: age})}}));
        if (done) this.band = done.body.limit_m;
    }

    // ---- the plots

    colour(name) {
        return getComputedStyle(document.documentElement)
            .getPropertyValue(`--${name}`).trim();
    }

    axes(label, size) {
        const stroke = this.colour('soft');
        const grid = {stroke: this.colour('hair'), width: 1};
        return [{stroke, grid, ticks: grid, values: (u, at) => at.map(s =>
            new Date(s * 1000).getFullYear()), space: 70, incrs: [31556952,
            31556952 * 2, 31556952 * 5, 31556952 * 10]},
        {stroke, grid, ticks: grid, label, labelSize: 22, size,
            values: (u, at) => at.map(v => signed(v, 2))}];
    }

    // R is a diamond with a whole line, L a ring with a broken one.
    mark(u, side, x, y, picked) {
        const {ctx} = u, r = 5 * devicePixelRatio;
        ctx.setLineDash([]);
        ctx.beginPath();
        if (side === 'right') {
            ctx.moveTo(x, y - r);
            ctx.lineTo(x + r, y);
            ctx.lineTo(x, y + r);
            ctx.lineTo(x - r, y);
            ctx.closePath();
        } else ctx.arc(x, y, r, 0, 2 * Math.PI);
        ctx.fillStyle = picked || side === 'right' ? this.colour('accent')
            : this.colour('sheet');
        ctx.fill();
        ctx.lineWidth = (picked ? 3 : 1.5) * devicePixelRatio;
        ctx.strokeStyle = this.colour('ink');
        ctx.stroke();
    }

    drawBand(u, list) {
        if (!this.band) return;
        const {ctx} = u;
        ctx.save();
        ctx.globalAlpha = 0.22;
        ctx.fillStyle = this.colour('ghost');
        for (const side of SIDES) {
            const points = list.filter(i => equivalent(i[side]) !== null).map(
                i => [u.valToPos(seconds(i), 'x', true), equivalent(i[side])]);
            if (!points.length) continue;
            const y = v => u.valToPos(v, 'y', true);
            ctx.beginPath();
            for (const [x, m] of points) ctx.lineTo(x, y(m + this.band));
            for (const [x, m] of [...points].reverse())
                ctx.lineTo(x, y(m - this.band));
            ctx.closePath();
            ctx.fill();
        }
        ctx.restore();
    }

    drawMarks(u, list) {
        for (const side of SIDES)
            for (const item of list) {
                const m = equivalent(item[side]);
                if (m !== null) this.mark(u, side,
                    u.valToPos(seconds(item), 'x', true),
                    u.valToPos(m, 'y', true), this.picked.includes(item.id));
            }
        const last = list.at(-1);
        u.ctx.fillStyle = this.colour('ink');
        u.ctx.font = `${13 * devicePixelRatio}px system-ui`;
        if (!last) return;
        // One above the other, also where they are the same.
        const [r, l] = SIDES.map(s => equivalent(last[s]));
        for (const [side, m, other] of [['right', r, l], ['left', l, r]]) {
            if (m === null) continue;
            const above = m === other ? side === 'right' : m > other;
            u.ctx.textBaseline = other === null ? 'middle'
                : above ? 'bottom' : 'top';
            u.ctx.fillText(t(`side.${side}.mark`),
                u.valToPos(seconds(last), 'x', true) + 10 * devicePixelRatio,
                u.valToPos(m, 'y', true));
        }
    }

    // Each cylinder as a stroke at its axis, R above L; finals as ticks below.
    drawVectors(u, list) {
        const {ctx} = u;
        const most = Math.max(0.5, ...list.flatMap(i => SIDES.map(
            s => Math.abs(i[s]?.cylinder || 0))));
        // Strokes of two rows don't touch.
        const reach = Math.abs(u.valToPos(0, 'y', true)
            - u.valToPos(1, 'y', true)) / 2 - 3 * devicePixelRatio;
        ctx.setLineDash([]);
        ctx.lineCap = 'round';
        for (const side of SIDES) {
            const y = u.valToPos(side === 'right' ? 1 : 0, 'y', true);
            for (const item of list) {
                const {cylinder, axis} = item[side] || {};
                const x = u.valToPos(seconds(item), 'x', true);
                ctx.beginPath();
                ctx.fillStyle = this.colour('soft');
                ctx.arc(x, y, 2 * devicePixelRatio, 0, 7);
                ctx.fill();
                if (!cylinder) continue;
                const r = Math.abs(cylinder) / most * reach;
                const a = axis * Math.PI / 180;
                ctx.strokeStyle = this.colour(side === 'right' ? 'accent'
                    : 'ink');
                ctx.lineWidth = 3 * devicePixelRatio;
                ctx.beginPath();
                ctx.moveTo(x - r * Math.cos(a), y + r * Math.sin(a));
                ctx.lineTo(x + r * Math.cos(a), y - r * Math.sin(a));
                ctx.stroke();
            }
        }
        ctx.strokeStyle = this.colour('ink');
        ctx.lineWidth = devicePixelRatio;
        for (const f of this.finals) {
            const x = u.valToPos(seconds(f), 'x', true);
            ctx.beginPath();
            ctx.moveTo(x, u.bbox.top + u.bbox.height);
            ctx.lineTo(x, u.bbox.top + u.bbox.height - 12 * devicePixelRatio);
            ctx.stroke();
        }
    }

    plot(name, options, data) {
        const place = this.renderRoot.querySelector(`#${name}`);
        if (!place) return;
        this.plots.push(new uPlot({
            width: Math.max(place.clientWidth, 240), height: PLOTS[name],
            cursor: {show: false}, legend: {show: false}, ...options},
        data, place));
    }

    line(side) {
        return {stroke: this.colour(side === 'right' ? 'accent' : 'ink'),
            width: 2, dash: side === 'right' ? undefined : [6, 4],
            points: {show: false}, spanGaps: true};
    }

    range(list) {
        const at = [...list, ...this.finals].map(seconds);
        const from = Math.min(...at), to = Math.max(...at);
        const room = Math.max((to - from) * 0.08, 86400 * 30);
        return [from - room, to + room];
    }

    draw() {
        for (const plot of this.plots) plot.destroy();
        this.plots = [];
        const {list} = this.shown;
        if (this.table || !list.length) return;
        const x = {time: true, range: () => this.range(list)};
        const xs = list.map(seconds);
        this.plot('m', {scales: {x, y: {range: (u, lo, hi) => [
            Math.floor(lo * 2 - 1.5) / 2, Math.ceil(hi * 2 + 1.5) / 2]}},
        axes: this.axes(t('timeline.m'), 62),
        series: [{}, this.line('right'), this.line('left')],
        hooks: {drawAxes: [u => this.drawBand(u, list)],
            draw: [u => this.drawMarks(u, list)],
            ready: [u => this.listen(u, list)]}},
        [xs, ...SIDES.map(s => list.map(i => equivalent(i[s])))]);
        const axes = this.axes(t('timeline.vectors'), 62);
        axes[1].splits = () => [0, 1];
        axes[1].values = (u, at) => at.map(v => v === 1 ? t('side.right.mark')
            : v === 0 ? t('side.left.mark') : '');
        this.plot('vectors', {scales: {x, y: {range: () => [-0.7, 1.7]}}, axes,
            series: [{}, {show: false}],
            hooks: {draw: [u => this.drawVectors(u, list)]}},
        [xs, xs.map(() => 0)]);
        this.drawAcuity(x);
    }

    get acuities() {
        return [...(this.items.value?.items || [])].reverse().filter(i =>
            SIDES.some(s => typeof i[s]?.acuity?.logmar === 'number'));
    }

    drawAcuity(x) {
        const list = this.acuities;
        if (!list.length) return;
        this.plot('acuity', {scales: {x, y: {dir: -1, range: (u, lo, hi) =>
            [Math.min(lo, 0) - 0.1, Math.max(hi, 0.3) + 0.1]}},
            axes: this.axes(t('timeline.acuity'), 62),
            series: [{}, this.line('right'), this.line('left')],
            hooks: {draw: [u => {
                for (const s of SIDES) for (const i of list) {
                    const v = i[s]?.acuity?.logmar;
                    if (typeof v === 'number') this.mark(u, s,
                        u.valToPos(seconds(i), 'x', true),
                        u.valToPos(v, 'y', true), false);
                }
            }]}},
        [list.map(seconds), ...SIDES.map(s => list.map(
            i => i[s]?.acuity?.logmar ?? null))]);
    }

    // A touch takes the nearest point.
    listen(u, list) {
        u.over.addEventListener('click', e => {
            let best = null, least = NEAR_PX;
            for (const item of list) for (const s of SIDES) {
                const m = equivalent(item[s]);
                if (m === null) continue;
                const far = Math.hypot(u.valToPos(seconds(item), 'x')
                    - e.offsetX, u.valToPos(m, 'y') - e.offsetY);
                if (far < least) [best, least] = [item, far];
            }
            if (best) this.pick(best.id);
        });
    }

    // ---- two points

    async pick(id) {
        this.picked = this.picked.includes(id)
            ? this.picked.filter(x => x !== id)
            : [...this.picked, id].slice(-2);
        this.delta = null;
        if (this.picked.length < 2) return;
        const two = this.picked.map(x => this.items.value.items.find(
            i => i.id === x)).sort((a, b) => seconds(a) - seconds(b));
        const lens = ({sphere, cylinder, axis}) => cylinder
            ? {sphere, cylinder, axis} : {sphere};
        const done = await this.deltas.run(() => Promise.all(SIDES.map(
            async side => {
                const [old, now] = two.map(i => i[side]);
                if (equivalent(old) === null || equivalent(now) === null)
                    return null;
                const {body} = await ask('POST', '/v1/optics/difference',
                    {body: {old: lens(old), new: lens(now)}});
                return {...body, m: equivalent(now) - equivalent(old)};
            })));
        if (done) this.delta = {two, sides: done};
    }

    deltaView() {
        if (!this.delta) return html`<p class="soft" role="status">
            ${t('timeline.pick', {n: this.picked.length})}</p>`;
        const {two, sides} = this.delta;
        return html`<div class="sheet" role="status"><h2>${t('timeline.between',
            {from: dayText(two[0].at), to: dayText(two[1].at)})}</h2>
            ${sides.map((d, i) => html`<p class="figure">
                ${t(`side.${SIDES[i]}.mark`)} ${d ? html`${told(
                    `${eyeText(rounded(d))} · M ${signed(d.m)}`,
                    `${eyeText(rounded(d), true)}, M ${spoken(d.m)}`)}
                    ${this.band ? html`<span class="soft">${t(Math.abs(d.m)
                        <= this.band ? 'timeline.inside' : 'timeline.outside',
                    {limit: figure(this.band)})}</span>` : nothing}`
                : t('power.absent')}</p>`)}</div>`;
    }

    rows(list) {
        return html`<div class="wide" tabindex="0" role="group"
            aria-label=${t('timeline.table')}><table>
            <tr>${['day', 'right', 'left', 'm', 'acuity', 'compare'].map(
                n => html`<th scope="col">${t(`timeline.col.${n}`)}</th>`)}</tr>
            ${[...list].reverse().map(item => html`<tr>
                <th scope="row">${dayText(item.at)}</th>
                ${SIDES.map(s => html`<td class="figure">${eyeTold(item[s])}
                    </td>`)}
                <td class="figure one">${SIDES.map(s => {
                    const m = equivalent(item[s]);
                    return html`${m === null ? '–'
                        : told(signed(m), spoken(m))} `;
                })}</td>
                <td>${SIDES.map(s => item[s]?.acuity?.text ?? '–').join(' ')}
                </td>
                <td><button aria-pressed=${this.picked.includes(item.id)
                    ? 'true' : 'false'} @click=${() => this.pick(item.id)}
                    aria-label=${t('timeline.take', {day: dayText(item.at)})}>
                    ${t('timeline.take-short')}</button></td></tr>`)}
            </table></div>`;
    }

    render() {
        const {series} = this, {key, list} = this.shown;
        if (!this.items.value) return html`<p class=${this.items.fault
            ? 'fault' : 'soft'}>${this.items.fault?.message
                || t('word.loading')}</p>`;
        return html`
            <h1>${t('timeline.title')}: ${personLine(this.who.value)}</h1>
            <div class="row no-print">
                <a class="button" href="#desk/${this.patient}">
                    ${t('word.back')}</a>
                <button aria-pressed=${this.table ? 'true' : 'false'}
                    @click=${() => {
                        this.table = !this.table;
                    }}>${t('timeline.table')}</button>
                <button @click=${() => print()}>${t('word.print')}</button>
            </div>
            <div class="row no-print" role="group"
                aria-label=${t('timeline.which')}>${[...series].map(
                    ([k, all]) => html`<button aria-pressed=${k === key
                        ? 'true' : 'false'} @click=${() => {
                        this.key = k;
                    }}>${this.name(k)} (${all.length})</button>`)}</div>
            ${list.length ? nothing : html`<p class="soft">
                ${t('timeline.none')}</p>`}
            ${this.table || !list.length ? nothing : html`<div class="plots"
                role="img" aria-label=${t('timeline.picture', {
                    name: this.name(key), n: list.length})}>
                <div id="m"></div><div id="vectors"></div>
                <div id="acuity"></div></div>
                <p class="soft">${t('timeline.legend')} ${this.band
                    ? t('timeline.band', {limit: figure(this.band)}) : ''}</p>`}
            ${this.deltaView()}${faultNote(this.deltas)}
            ${this.table ? this.rows(list) : nothing}`;
    }
}

// A difference as people read it: hundredths and whole degrees.
function rounded(d) {
    const cylinder = Math.round(d.cylinder * 100) / 100 || 0;
    return {sphere: Math.round(d.sphere * 100) / 100 || 0, cylinder,
        axis: cylinder ? Math.round(d.axis) || 180 : null};
}

customElements.define('lens-timeline', Timeline);
