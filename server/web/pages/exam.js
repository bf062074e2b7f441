// The exam room: one screen on which a refraction is refined and signed.
import '../parts/changes.js';
import '../parts/conflict.js';
import '../parts/evidence.js';
import '../parts/eye-control.js';
import '../parts/eye-panel.js';
import '../parts/step-log.js';
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {yearsOf} from '../core/dates.js';
import {figure, parsed} from '../core/power.js';
import {prefs} from '../core/prefs.js';
import {queue} from '../core/queue.js';
import {session} from '../core/session.js';
import {stepped, truePower, turned, written} from '../core/lens.js';
import {stale, Watch} from '../core/store.js';
import {newest, Work} from '../core/work.js';
import {Writer} from '../core/write.js';
import {t, word} from '../core/words.js';
import {evidenceOf} from '../parts/evidence.js';
import {eyePairStyle} from '../parts/eye-panel.js';
import {cautionList, faultNote, prose} from '../parts/field.js';
import {personLine} from '../parts/person.js';

const STEPS_KEPT = 'lensclerk.steps';
const SIZES = {sphere: [0.125, 0.25, 0.5], cylinder: [0.125, 0.25, 0.5],
    axis: [1, 2, 5, 10]};
// A tool opens beneath; its module comes when it is first opened.
const TOOLS = {
    acuity: () => import('../parts/acuity.js'),
    duochrome: () => Promise.resolve(),
    'cross-cylinder': () => import('../parts/cross-cylinder.js'),
    near: () => import('../parts/near.js'),
    prism: () => import('../parts/prism.js'),
};

function keptSteps() {
    try {
        return {sphere: 0.25, cylinder: 0.25, axis: 5,
            ...JSON.parse(localStorage.getItem(STEPS_KEPT) || '{}')};
    } catch {
        return {sphere: 0.25, cylinder: 0.25, axis: 5};
    }
}

class Exam extends Part {
    static properties = {
        exam: {}, chosen: {state: true}, tool: {state: true},
        steps: {state: true}, hold: {state: true}, region: {state: true},
        signing: {state: true}, amending: {state: true}, told: {state: true},
    };

    static styles = [look, eyePairStyle, css`
        .top {
            display: flex;
            flex-wrap: wrap;
            gap: 0.3rem 1rem;
            align-items: center;
            margin-bottom: 0.4rem;
        }
        .top h1 {
            font-size: 1.15rem;
        }
        .kept {
            margin: 0;
            border: 1px solid var(--edge);
            border-radius: 0.4rem;
            padding: 0.25rem 0.6rem;
        }
        .kept.waiting {
            border: 2px dashed var(--accent);
        }
        .room {
            display: grid;
            grid-template-columns: minmax(0, 1fr) 15rem;
            gap: 0.6rem;
            margin-top: 0.5rem;
            align-items: start;
        }
        .room.left {
            grid-template-columns: 15rem minmax(0, 1fr);
        }
        .room.left aside {
            order: -1;
        }
        @media (max-width: 60rem) {
            .room, .room.left {
                grid-template-columns: minmax(0, 1fr);
            }
        }
        @media (max-width: 44rem) {
            .eyes {
                grid-template-columns: minmax(0, 1fr);
            }
        }
        lens-eye-panel.waiting {
            outline: 2px dashed var(--accent);
            outline-offset: -1px;
        }
        .choose {
            justify-content: center;
            margin: 0.5rem 0;
        }
        .bar {
            display: flex;
            flex-wrap: wrap;
            gap: 0.3rem;
            margin-top: 0.5rem;
        }
        aside {
            display: grid;
            gap: 0.6rem;
            min-width: 0;
        }
        select {
            width: auto;
        }
        .sizes {
            display: flex;
            flex-wrap: wrap;
            gap: 0.5rem;
            align-items: end;
        }
        .check {
            display: flex;
            align-items: center;
            gap: 0.5rem;
            min-height: 2.75rem;
            color: var(--ink);
        }
        .check input {
            width: 1.4rem;
            min-height: 1.4rem;
            accent-color: var(--accent);
        }
    `];

    work = new Work(this, () => this.exam);
    timeline = new Watch(this, () => this.ofPatient('/timeline?limit=60'));
    habitual = new Watch(this, () => this.ofPatient('/habitual'));
    person = new Watch(this, () => this.ofPatient(''));
    visit = new Watch(this, () => this.work.exam
        ? `/v1/visits/${this.work.exam.visit}` : '');
    writer = new Writer(this);
    chosen = 'right';
    steps = keptSteps();
    hold = true;

    ofPatient(rest) {
        const patient = this.work.exam?.patient;
        return patient ? `/v1/patients/${patient}${rest}` : '';
    }

    get fixed() {
        return !this.work.draft || session.me?.role !== 'prescriber';
    }

    get evidence() {
        const items = (this.timeline.value?.items || []).filter(
            i => i.exam !== this.exam);
        return evidenceOf(items, this.habitual.value?.entry);
    }

    // With both eyes chosen a step of one takes the other along.
    step({side, field, to, more}) {
        const working = this.work.working;
        if (this.chosen !== 'both' || !working?.right || !working?.left) {
            this.chosen = side;
            this.work.step(side, field, to, more);
            return;
        }
        const other = side === 'right' ? 'left' : 'right';
        const moved = this.along(working, side, other, field, to);
        if (moved === undefined) {
            this.work.step(side, field, to, more);
            return;
        }
        this.work.step('both', field, {[side]: to, [other]: moved},
            field === 'cylinder' ? {...more, axis: undefined} : more);
    }

    along(working, side, other, field, to) {
        const a = working[side], b = working[other];
        if (field === 'axis')
            return b.cylinder ? turned(b.axis, to - a.axis) : undefined;
        if (field === 'cylinder' && (!a.cylinder || !b.cylinder))
            return undefined;
        return written(truePower(b[field] || 0)
            + truePower(to) - truePower(a[field] || 0));
    }

    // A whole power of one eye, as steps.
    place(side, lens, test) {
        const plus = lens.cylinder > 0;
        const cylinder = plus ? -lens.cylinder : lens.cylinder || 0;
        const sphere = plus ? written(truePower(lens.sphere)
            + truePower(lens.cylinder)) : lens.sphere;
        const axis = cylinder ? Math.round(plus ? turned(lens.axis, 90)
            : lens.axis) || 180 : null;
        const eye = () => this.work.working?.[side];
        const more = test ? {test} : {};
        if (eye()?.sphere !== sphere)
            this.work.step(side, 'sphere', sphere, more);
        if ((eye()?.cylinder || 0) !== cylinder)
            this.work.step(side, 'cylinder', cylinder,
                cylinder ? {...more, axis} : more);
        if (cylinder && eye()?.axis !== axis)
            this.work.step(side, 'axis', axis, more);
    }

    placed({side, lens}) {
        const eye = this.work.working[side];
        const turnedOnly = (lens.cylinder || 0) === (eye.cylinder || 0);
        this.place(side, {...lens, sphere: lens.sphere},
            turnedOnly ? 'cross-cylinder-axis' : 'cross-cylinder-power');
    }

    async start(source) {
        const done = await this.writer.run(() => this.work.startFrom(source));
        if (!done) return;
        this.region = null;
        this.told = (done.rounded || []).map(r => t('start.rounded', {
            eye: t(`side.${r.eye}`), from: r.from, to: r.to})).join(' ');
    }

    async sign(e) {
        e.preventDefault();
        const reason = new FormData(e.target).get('reason')?.trim();
        const done = await this.writer.run(async key => {
            const {etag} = await ask('GET', this.work.path);
            return ask('POST', `${this.work.path}/sign`, {match: etag, key,
                body: reason ? {reason} : {}});
        });
        if (!done) return;
        this.signing = false;
        this.told = done.body.cautions.map(c => c.text).join('. ');
        stale('/v1/exams', `/v1/patients/${done.body.patient}`, '/v1/visits');
    }

    async amend(e) {
        e.preventDefault();
        const reason = new FormData(e.target).get('reason').trim();
        const done = await this.writer.run(async key => {
            const {etag} = await ask('GET', this.work.path);
            return ask('POST', `${this.work.path}/amend`,
                {match: etag, key, body: {reason}});
        });
        if (!done) return;
        this.amending = false;
        stale('/v1/exams', `/v1/patients/${done.body.patient}`);
    }

    async openTool(name) {
        await TOOLS[name]();
        this.tool = this.tool === name ? null : name;
        if (this.tool !== 'cross-cylinder') this.region = null;
    }

    setSize(field, value) {
        this.steps = {...this.steps, [field]: value};
        localStorage.setItem(STEPS_KEPT, JSON.stringify(this.steps));
    }

    // ---- what is drawn

    kept() {
        const n = this.work.unsent.length;
        return html`<p class="kept ${n ? 'waiting' : ''}" role="status">
            ${n ? t(queue.offline ? 'kept.offline' : 'kept.waiting', {n})
                : t('kept.all')}</p>`;
    }

    head() {
        const exam = this.work.exam;
        return html`<div class="top">
            <h1>${personLine(this.person.value)}</h1>${this.kept()}
            <span class="soft reason">${[this.visit.value?.reason,
                word('status', exam.status), exam.amending
                    && t('exam.amending', {reason: exam.reason || ''})].filter(
                Boolean).join(' · ')}</span></div>`;
    }

    acuityOf(side) {
        const list = this.work.section('acuities') || [];
        return list.findLast(a => a.eye === side && a.distance === 'far'
            && a.with === 'working')?.text;
    }

    panel(side) {
        const waiting = this.work.unsent.some(i => i.kind === 'step'
            && (i.body.eye === side || i.body.eye === 'both'));
        return html`<lens-eye-panel side=${side}
            class=${waiting ? 'waiting' : ''}>
            <lens-eye-control side=${side} .eye=${this.work.working?.[side]}
                .evidence=${this.evidence} .steps=${this.steps}
                ?hold=${this.hold} ?fixed=${this.fixed}
                .region=${this.region?.side === side ? this.region : null}
                acuity=${this.acuityOf(side) ?? ''}
                @step=${e => this.step(e.detail)}
                @typed=${e => this.place(side, e.detail, 'typed')}>
            </lens-eye-control></lens-eye-panel>`;
    }

    chooser() {
        return html`<div class="row choose" role="group"
            aria-label=${t('exam.choose')}>
            ${['right', 'both', 'left'].map(side => html`<button
                aria-pressed=${this.chosen === side ? 'true' : 'false'}
                @click=${() => {
                    this.chosen = side;
                }}>${t(`side.${side}.mark`)} ${t(`side.${side}`)}</button>`)}
            <button ?disabled=${this.fixed || !this.work.undoable}
                @click=${() => this.work.undo()}>${t('exam.undo')}</button>
            </div>`;
    }

    // A colour that is clearer names the way of the next quarter.
    duochrome() {
        const sides = this.chosen === 'both' ? ['right', 'left']
            : [this.chosen];
        const go = way => {
            for (const side of sides) {
                const eye = this.work.working?.[side];
                if (eye) this.work.step(side, 'sphere', stepped(eye.sphere,
                    0.25, way), {test: this.chosen === 'both' ? 'balance'
                    : 'duochrome'});
            }
        };
        return html`<p>${t('duochrome.ask', {eye: t(`side.${this.chosen}`)})}</p>
            <div class="row">
                <button ?disabled=${this.fixed} @click=${() => go(-1)}>
                    ${t('duochrome.red')}</button>
                <button ?disabled=${this.fixed} @click=${() => go(1)}>
                    ${t('duochrome.green')}</button></div>
            <p class="soft">${t('duochrome.aid')}</p>`;
    }

    get age() {
        return yearsOf(this.person.value?.born);
    }

    setAdd(to) {
        const {working} = this.work;
        const sides = ['right', 'left'].filter(side => working?.[side]);
        if (sides.length === 2)
            this.work.step('both', 'add', to, {test: 'near'});
        else if (sides.length)
            this.work.step(sides[0], 'add', to, {test: 'near'});
    }

    toolView() {
        const w = this.work, side = this.chosen === 'left' ? 'left' : 'right';
        switch (this.tool) {
        case 'acuity':
            return html`<lens-acuity .acuities=${w.section('acuities')}
                ?fixed=${!w.draft} @noted=${e => w.put('acuities', e.detail)}>
                </lens-acuity>`;
        case 'duochrome':
            return this.duochrome();
        case 'cross-cylinder':
            return html`<lens-cross-cylinder side=${side}
                .eye=${w.working?.[side]} @place=${e => this.placed(e.detail)}
                @region=${e => {
                    this.region = e.detail;
                }}></lens-cross-cylinder>`;
        case 'near':
            return html`<lens-near .add=${w.working?.right?.add
                ?? w.working?.left?.add ?? 0} .age=${this.age}
                .near=${w.section('near')} .tasks=${
                    (w.section('near')?.tasks ?? w.section('history')?.tasks)
                    || []} ?fixed=${this.fixed}
                @add=${e => this.setAdd(e.detail)}
                @near=${e => w.put('near', e.detail)}></lens-near>`;
        case 'prism':
            return html`<lens-prism .working=${w.working}
                .binocular=${w.section('binocular')} ?fixed=${this.fixed}
                @prism=${({detail: d}) => w.step(d.side, d.field, d.to)}
                @found=${e => w.put('binocular', e.detail)}></lens-prism>`;
        default:
            return nothing;
        }
    }

    tools() {
        return html`<div class="bar" role="group" aria-label=${t('tool.title')}>
            ${Object.keys(TOOLS).map(name => html`<button aria-expanded=${
                this.tool === name ? 'true' : 'false'} aria-pressed=${
                this.tool === name ? 'true' : 'false'}
                @click=${() => this.openTool(name)}>${t(`tool.${name}`)}
            </button>`)}</div>
            ${this.tool ? html`<section class="sheet" aria-label=${t(
                `tool.${this.tool}`)}>${this.toolView()}</section>` : nothing}`;
    }

    sizes() {
        return html`<details><summary>${t('exam.steps')}</summary>
            <div class="sizes">${Object.entries(SIZES).map(([field, values]) =>
                html`<label>${word('field', field)}<select @change=${e =>
                    this.setSize(field, Number(e.target.value))}>
                    ${values.map(v => html`<option value=${v} ?selected=${
                        v === this.steps[field]}>${field === 'axis' ? `${v}°`
                        : figure(written(v))}</option>`)}</select></label>`)}
            <label class="check"><input type="checkbox" .checked=${this.hold}
                @change=${e => {
                    this.hold = e.target.checked;
                }}> ${t('exam.hold')}</label></div></details>`;
    }

    missing() {
        const missing = this.work.exam.missing_to_sign || [];
        return html`<section><h2>${t('sign.title')}</h2>
            ${missing.length ? html`<p>${t('sign.missing')}</p>
                <ul>${missing.map(m => html`<li>${t('fault.at',
                    {place: m.pointer, text: m.detail})}</li>`)}</ul>
                ${this.vertexField(missing)}` : nothing}
            ${faultNote(this.writer)}
            ${this.signing ? html`<form @submit=${this.sign}>
                <p>${t('sign.sure')}</p>
                <label>${t('sign.reason')}<input name="reason" maxlength="500">
                </label><div class="row"><button class="main" ?disabled=${
                    this.writer.busy || this.work.unsent.length > 0}>
                    ${t('sign.now')}</button><button type="button"
                    @click=${() => {
                        this.signing = false;
                    }}>${t('word.back')}</button></div></form>`
                : html`<button class="main" ?disabled=${this.fixed
                    || missing.length > 0 || this.work.unsent.length > 0}
                    @click=${() => {
                        this.signing = true;
                    }}>${t('sign.go')}</button>`}</section>`;
    }

    vertexField(missing) {
        if (!missing.some(m => m.pointer.includes('vertex'))) return nothing;
        return html`<form @submit=${e => {
            e.preventDefault();
            const mm = parsed(new FormData(e.target).get('mm'));
            if (mm > 0 && mm <= 30) this.work.step('both', 'vertex_mm', mm);
        }}><label>${t('sign.vertex')}<input name="mm" inputmode="decimal">
            </label><button>${t('acuity.note')}</button></form>`;
    }

    signedView() {
        const exam = this.work.exam;
        return html`<section><h2>${t('sign.done')}</h2><div class="row">
            <a class="button main" href="#rx/${exam.id}">${t('rx.show')}</a>
            ${session.me?.role !== 'prescriber' ? nothing : this.amending
                ? html`<form @submit=${this.amend}><label>${t('amend.reason')}
                    <input name="reason" required maxlength="500"></label>
                    <div class="row"><button class="main">${t('amend.now')}
                    </button><button type="button" @click=${() => {
                        this.amending = false;
                    }}>${t('word.back')}</button></div></form>`
                : html`<button @click=${() => {
                    this.amending = true;
                }}>${t('amend.go')}</button>`}</div>
            ${faultNote(this.writer)}</section>`;
    }

    render() {
        const {exam} = this.work;
        if (!exam) return html`<p class=${this.work.watch.fault ? 'fault'
            : 'soft'}>${this.work.watch.fault?.message || t('word.loading')}</p>`;
        const conflict = queue.conflict?.item.exam === exam.id
            ? queue.conflict : null;
        const refused = queue.refused?.item.exam === exam.id
            ? queue.refused : null;
        return html`${this.head()}
            <lens-evidence .evidence=${this.evidence}
                source=${this.work.working?.source?.id ?? ''}
                ?fixed=${this.fixed || this.work.unsent.length > 0}
                @start=${e => this.start(e.detail)}></lens-evidence>
            ${this.told ? html`<p class="caution" role="status">${prose(this.told)}
                </p>` : nothing}
            ${conflict ? html`<lens-conflict .conflict=${conflict}>
                </lens-conflict>` : nothing}
            ${refused ? html`<p class="fault" role="alert">
                ${t('kept.refused')} ${refused.text}</p>` : nothing}
            <div class="room ${prefs.get('hand')}">
                <div>
                    <div class="eyes">${this.panel('right')}
                        ${this.panel('left')}</div>
                    ${this.chooser()}
                    ${this.tools()}
                    ${this.sizes()}
                </div>
                <aside>
                    <section class="sheet"><lens-changes
                        exam=${exam.working ? exam.id : ''}
                        habitual=${exam.habitual ?? this.habitual.value?.entry
                            ?.id ?? ''} ?waiting=${this.work.unsent.length > 0}>
                        </lens-changes>
                        ${exam.working && (exam.habitual
                            ?? this.habitual.value?.entry) ? html`<a
                            class="button" href="#difference/${exam.id}">
                            ${t('see.title')}</a>` : nothing}</section>
                    <section class="sheet">${this.work.draft ? this.missing()
                        : this.signedView()}</section>
                    <section class="sheet"><h2>${t('log.title')}</h2>
                        <lens-step-log .steps=${newest(exam.steps?.last)}
                            .unsent=${this.work.unsent}></lens-step-log>
                    </section>
                    ${cautionList(exam.cautions)}
                    <p class="soft">${t('shell.aid')}</p>
                </aside>
            </div>`;
    }
}

customElements.define('lens-exam', Exam);
