// Runs the cases of one file in Chromium against a service:
//   node run.mjs --list FILE          their names, as JSON
//   node run.mjs FILE SETUP RESULT    SETUP and RESULT are JSON files
// A case is a function that gets a Stage. Whatever a page complains of, and
// any request to another host, fails the case that caused it.
import assert from 'node:assert/strict';
import {readFileSync, writeFileSync, mkdirSync} from 'node:fs';
import {createRequire} from 'node:module';
import {join, resolve} from 'node:path';
import {pathToFileURL} from 'node:url';

export const SIZES = {
    wide: {width: 1024, height: 768}, tall: {width: 820, height: 1180},
    desk: {width: 1440, height: 900},
};
const CASE_MS = 120000;

class Stage {
    constructor(browser, setup, axeSource, name) {
        Object.assign(this, {browser, setup, axeSource, name});
        this.contexts = [];
        this.complaints = [];
        this.expected = [];
    }

    // A page of a browser of its own; with a role it has signed in.
    async open({role, size = 'wide', theme = 'lane', hash = '', more = {},
        prefs = {}, cut} = {}) {
        const context = await this.browser.newContext({
            viewport: SIZES[size], baseURL: this.setup.base, locale: 'en-GB',
            reducedMotion: 'reduce', ...more});
        this.contexts.push(context);
        await context.addInitScript(kept => {
            if (!localStorage.getItem('lensclerk.look'))
                localStorage.setItem('lensclerk.look', JSON.stringify(kept));
        }, {language: 'en', mark: '.', theme, hand: 'right', idle: 5,
            ...prefs});
        const page = await context.newPage();
        page.setDefaultTimeout(10000);
        this.watch(page);
        if (role) {
            const {user, password} = this.setup.accounts[role];
            const answer = await context.request.post('/v1/sessions', {
                data: {network: this.setup.network, user, password}});
            assert.equal(answer.status(), 201);
        }
        // Paths that a cut network or a late message keeps away.
        if (cut) await page.route(cut, route => route.abort());
        await page.goto(`/${hash}`);
        return page;
    }

    watch(page) {
        page.on('pageerror', e => this.complaints.push(String(e.stack || e)));
        page.on('console', m => {
            if (m.type() === 'error' || m.type() === 'warning')
                this.complaints.push(`${m.type()}: ${m.text()}`);
        });
        page.on('request', r => {
            if (!r.url().startsWith(this.setup.base)
                && !/^(blob|data):/.test(r.url()))
                this.complaints.push(`asked another host: ${r.url()}`);
        });
    }

    // A complaint that this case means to bring about.
    expect(pattern) {
        this.expected.push(pattern);
    }

    // The API, asked by a role's token; the answer must be 2xx.
    async api(role, method, path, body, headers = {}) {
        const answer = await fetch(this.setup.base + path, {
            method, body: body === undefined ? undefined : JSON.stringify(body),
            headers: {Authorization: `Bearer ${this.setup.tokens[role]}`,
                ...(body === undefined ? {}
                    : {'Content-Type': 'application/json'}), ...headers}});
        const text = await answer.text();
        assert.ok(answer.ok, `${method} ${path}: ${answer.status} ${text}`);
        return {...(text ? JSON.parse(text) : {}),
            etag: answer.headers.get('ETag')};
    }

    // No violation of any rule of axe, in the theme that is on and the other.
    async accessible(page, themes = ['lane', 'day']) {
        const was = await page.evaluate(
            () => document.documentElement.dataset.theme);
        for (const theme of themes) {
            await page.evaluate(name => {
                document.documentElement.dataset.theme = name;
            }, theme);
            await page.evaluate(this.axeSource);
            const found = await page.evaluate(async () =>
                (await globalThis.axe.run(document, {
                    resultTypes: ['violations']})).violations);
            const said = found.map(v => `${theme}: ${v.id}: ${v.help}: `
                + v.nodes.map(n => `${n.target.join(' ')} ${n.html.slice(0, 160)}`
                    + ` ${n.failureSummary}`).slice(0, 4).join(' | '));
            assert.deepEqual(said, []);
        }
        await page.evaluate(name => {
            document.documentElement.dataset.theme = name;
        }, was);
    }

    // Every control that can be touched is 44 px high and wide, those inside
    // a line of text apart (WCAG 2.2, 2.5.5 and its exception).
    async touchable(page) {
        const small = await page.evaluate(() => {
            const found = [];
            const look = root => {
                for (const e of root.querySelectorAll('*')) {
                    if (e.shadowRoot) look(e.shadowRoot);
                    const hit = e.matches('button, input, select, textarea,'
                        + ' summary, a.button, [role=button], [role=slider],'
                        + ' [role=option]');
                    if (!hit || !e.checkVisibility()) continue;
                    const label = e.closest('label');
                    const box = (label && e.matches('[type=checkbox],'
                        + ' [type=radio]') ? label : e).getBoundingClientRect();
                    if (box.width && (box.height < 43.5 || box.width < 43.5)
                        && !e.matches('.skip'))
                        found.push(`${e.outerHTML.slice(0, 90)}:`
                            + ` ${box.width} x ${box.height}`);
                }
            };
            look(document);
            return found;
        });
        assert.deepEqual(small, []);
    }

    // Nothing has to be scrolled sideways.
    async fits(page) {
        const over = await page.evaluate(() =>
            document.documentElement.scrollWidth - innerWidth);
        assert.ok(over <= 0, `the page is ${over} px too wide`);
    }

    // A picture, where LENSTEST_SHOTS names a folder.
    async shot(page, name) {
        const folder = process.env.LENSTEST_SHOTS;
        if (!folder) return;
        mkdirSync(folder, {recursive: true});
        await page.screenshot({path: join(folder, `${name}.png`)});
    }

    async end() {
        for (const context of this.contexts) await context.close();
        const left = this.complaints.filter(
            c => !this.expected.some(e => e.test(c)));
        assert.deepEqual(left, []);
    }
}

async function one(stage, run) {
    let late;
    const limit = new Promise((_, fail) => {
        late = setTimeout(() => fail(new Error('it took too long')), CASE_MS);
    });
    try {
        await Promise.race([run(stage), limit]);
        await stage.end();
        return null;
    } catch (e) {
        for (const [i, c] of stage.contexts.entries())
            for (const page of c.pages())
                await stage.shot(page, `failed-${i}`).catch(() => {});
        await Promise.all(stage.contexts.map(c => c.close().catch(() => {})));
        return `${e.stack || e}\n${stage.complaints.join('\n')}`;
    } finally {
        clearTimeout(late);
    }
}

async function main() {
    const list = process.argv[2] === '--list';
    const [file, setupFile, resultFile] = process.argv.slice(list ? 3 : 2);
    const {default: cases} = await import(pathToFileURL(resolve(file)));
    if (list) {
        console.log(JSON.stringify(Object.keys(cases)));
        return;
    }
    const setup = JSON.parse(readFileSync(setupFile, 'utf8'));
    const require = createRequire(join(setup.packages, 'x.js'));
    const {chromium} = require('playwright-core');
    const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
    const browser = await chromium.launch({executablePath: setup.chromium,
        args: ['--no-sandbox']});
    const result = {};
    try {
        for (const [name, run] of Object.entries(cases)) {
            if (setup.only && !name.includes(setup.only)) continue;
            const began = performance.now();
            const stage = new Stage(browser, setup, axe, name);
            result[name] = await one(stage, run);
            console.log(`${result[name] ? 'FAILED' : 'ok'} ${name}`
                + ` (${((performance.now() - began) / 1000).toFixed(1)} s)`);
        }
    } finally {
        await browser.close();
    }
    writeFileSync(resultFile, JSON.stringify(result));
}

if (process.argv[1] && import.meta.url === pathToFileURL(
    resolve(process.argv[1])).href)
    await main();
