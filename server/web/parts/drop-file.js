// Files of instruments, dropped anywhere on the page or picked: what they say
// is shown beside the original before anything is stored.
import './find-person.js';
import './reading-view.js';
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {stale} from '../core/store.js';
import {Writer} from '../core/write.js';
import {t} from '../core/words.js';
import {faultNote} from './field.js';
import {personLine} from './person.js';

const SHOWN = 20000; // characters of an original that are shown

// The media type by name, else by what stands at the beginning.
function mediaOf(name, head) {
    if (/\.dcm$/i.test(name)) return 'application/dicom';
    if (/\.xml$/i.test(name)) return 'application/xml';
    if (/\.csv$/i.test(name)) return 'text/csv';
    if (/\.ndjson$/i.test(name)) return 'application/x-ndjson';
    if (/^\s*\[?\s*\{\s*"[0-9A-Fa-f]{8}"/.test(head))
        return 'application/dicom+json';
    if (/^\s*</.test(head)) return 'application/xml';
    if (head.slice(128, 132) === 'DICM') return 'application/dicom';
    return 'application/json';
}

class DropFile extends Part {
    static properties = {
        person: {attribute: false}, file: {state: true}, over: {state: true},
        whom: {state: true}, told: {state: true},
    };

    static styles = [look, css`
        dialog {
            width: min(70rem, 96vw);
            border: 1px solid var(--edge);
            border-radius: 0.6rem;
            background: var(--ground);
            color: var(--ink);
        }
        dialog::backdrop {
            background: rgb(0 0 0 / 60%);
        }
        .split {
            display: grid;
            gap: 1rem;
            grid-template-columns: minmax(0, 3fr) minmax(0, 2fr);
        }
        @media (max-width: 50rem) {
            .split {
                grid-template-columns: minmax(0, 1fr);
            }
        }
        pre {
            margin: 0;
            max-height: 22rem;
            overflow: auto;
            white-space: pre-wrap;
            overflow-wrap: anywhere;
            background: var(--sheet);
            padding: 0.6rem;
            font-size: 0.85rem;
        }
        .over {
            position: fixed;
            inset: 0.5rem;
            border: 4px dashed var(--accent);
            display: grid;
            place-items: center;
            background: var(--ground);
            opacity: 0.92;
            z-index: 9;
            font-size: 1.4rem;
            pointer-events: none;
        }
    `];

    writer = new Writer(this);
    waiting = [];

    connectedCallback() {
        super.connectedCallback();
        this.leave = new AbortController();
        const on = (kind, run) => addEventListener(kind, run,
            {signal: this.leave.signal});
        on('dragover', e => {
            e.preventDefault();
            this.over = true;
        });
        on('dragleave', e => {
            if (!e.relatedTarget) this.over = false;
        });
        on('drop', e => {
            e.preventDefault();
            this.over = false;
            this.take(e.dataTransfer.files);
        });
    }

    disconnectedCallback() {
        super.disconnectedCallback();
        this.leave.abort();
    }

    take(files) {
        this.waiting.push(...files);
        this.told = '';
        if (!this.file) this.next();
    }

    async next() {
        const file = this.waiting.shift();
        this.file = null;
        this.whom = this.person;
        if (!file) {
            this.renderRoot.querySelector('dialog').close();
            return;
        }
        const bytes = await file.arrayBuffer();
        const text = new TextDecoder().decode(bytes);
        const type = mediaOf(file.name, text.slice(0, 4096));
        this.file = {name: file.name, bytes, type, readings: null,
            text: type === 'application/dicom' ? t('drop.binary',
                {n: bytes.byteLength}) : text.slice(0, SHOWN)};
        await this.updateComplete;
        const dialog = this.renderRoot.querySelector('dialog');
        if (!dialog.open) dialog.showModal();
        const seen = await this.writer.run(() => ask('POST',
            '/v1/readings/preview', {body: bytes, type}));
        if (seen) this.file = {...this.file, readings: read(seen.body)};
    }

    async accept() {
        const {bytes, type} = this.file;
        const done = await this.writer.run(async key => {
            const {body} = await ask('POST', '/v1/readings',
                {body: bytes, type, key});
            const stored = read(body, false);
            for (const r of stored.filter(x => this.whom && x.id
                && x.patient !== this.whom.id && x.status !== 'claimed'))
                await this.claim(r.id);
            return stored;
        });
        if (!done) return;
        stale('/v1/readings', '/v1/patients', '/v1/visits');
        const gone = done.filter(x => this.whom && x.status === 'claimed'
            && x.patient !== this.whom.id).length;
        this.told = t('drop.stored', {n: done.length})
            + (gone ? ` ${t('drop.elsewhere', {n: gone})}` : '');
        await this.next();
    }

    async claim(id) {
        const {etag} = await ask('GET', `/v1/readings/${id}`);
        await ask('POST', `/v1/readings/${id}/claim`,
            {body: {patient: this.whom.id}, match: etag});
    }

    preview() {
        const {readings, text, name} = this.file;
        const said = readings?.find(r => r.patient_as_sent)?.patient_as_sent;
        return html`<h2 id="name"><bdi>${name}</bdi></h2>
            ${faultNote(this.writer)}
            <div class="split">
                <div>${readings?.map(r => r.errors
                    ? r.errors.map(e => html`<p class="fault">${t('fault.at',
                        {place: e.pointer, text: e.detail})}</p>`)
                    : html`<lens-reading .reading=${r}></lens-reading>`)}
                    ${said ? html`<p>${t('tray.says')} ${personLine(said)}</p>`
                        : nothing}
                    <p>${this.whom
                        ? html`${t('drop.goes-to')} ${personLine(this.whom)}
                            <button @click=${() => {
                                this.whom = null;
                            }}>${t('drop.not-to')}</button>`
                        : t('drop.by-itself')}</p>
                    <lens-find-person @chosen=${e => {
                        this.whom = e.detail;
                    }}></lens-find-person></div>
                <section aria-label=${t('drop.original')}>
                    <h3>${t('drop.original')}</h3>
                    <pre tabindex="0">${text}</pre></section>
            </div>
            <div class="row">
                <button class="main" @click=${this.accept} ?disabled=${
                    this.writer.busy || !readings?.some(r => !r.errors)}>
                    ${t('drop.accept')}</button>
                <button @click=${this.next}>${t('drop.refuse')}</button>
            </div>`;
    }

    render() {
        return html`
            <button @click=${() => this.renderRoot.querySelector(
                'input[type=file]').click()}>${t('drop.pick')}</button>
            <input type="file" multiple hidden aria-label=${t('drop.pick')}
                @change=${e => {
                    this.take(e.target.files);
                    e.target.value = '';
                }}>
            <span role="status">${this.told || nothing}</span>
            ${this.over ? html`<div class="over">${t('drop.here')}</div>`
                : nothing}
            <dialog aria-labelledby="name" @close=${() => {
                this.file = null;
            }}>${this.file ? this.preview() : nothing}</dialog>`;
    }
}

// One reading, an array of them, or an answer line by line.
function read(body, preview = true) {
    if (typeof body !== 'string') return [body].flat();
    return body.trim().split('\n').map(line => JSON.parse(line)).map(
        line => line.errors ? line : preview ? line.reading : line);
}

customElements.define('lens-drop-file', DropFile);
