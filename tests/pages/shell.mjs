// Files as they are served; signing in; themes; the lock.
import assert from 'node:assert/strict';
import {readFileSync} from 'node:fs';
import {request} from 'node:http';
import {join} from 'node:path';
import {gunzipSync} from 'node:zlib';

async function signIn(page, s, role, password) {
    const account = s.setup.accounts[role];
    await page.getByLabel('Network').fill(s.setup.network);
    await page.getByLabel('User').fill(account.user);
    await page.getByLabel('Password').fill(password ?? account.password);
    await page.getByRole('button', {name: 'Sign in'}).click();
}

// fetch would tidy the path first.
async function raw(base, path, headers = {}) {
    return new Promise((resolve, reject) => {
        const {hostname: host, port} = new URL(base);
        request({host, port, path, headers}, answer => {
            answer.resume();
            resolve(answer.statusCode);
        }).on('error', reject).end();
    });
}

async function cookies(page) {
    return (await page.context().cookies()).filter(
        c => c.name === 'lensclerk_session');
}

export default {
    async 'the document is never kept and its files for ever'(s) {
        const page = await fetch(`${s.setup.base}/`);
        assert.equal(page.status, 200);
        assert.equal(page.headers.get('Cache-Control'), 'no-cache');
        assert.equal(page.headers.get('X-Content-Type-Options'), 'nosniff');
        const policy = page.headers.get('Content-Security-Policy');
        assert.match(policy, /^default-src 'none'; script-src 'self';/);
        assert.doesNotMatch(policy, /unsafe|\*|https?:/);
        const html = await page.text();
        assert.doesNotMatch(html, /<style|<script>|\son\w+=|style=/);
        const names = [...html.matchAll(/\/assets\/([\w.-]+)/g)].map(m => m[1]);
        assert.ok(names.length >= 4);
        for (const name of names) {
            const file = await fetch(`${s.setup.base}/assets/${name}`);
            assert.equal(file.status, 200);
            assert.match(name, /-[A-Z0-9]{8}\.(js|css|svg)$/);
            assert.equal(file.headers.get('Cache-Control'),
                'public, max-age=31536000, immutable');
            assert.equal(file.headers.get('X-Content-Type-Options'), 'nosniff');
            assert.equal(await file.text(), readFileSync(
                join(s.setup.site, 'assets', name), 'utf8'));
        }
    },

    async 'what was compressed at build time is sent as it is'(s) {
        const html = await (await fetch(`${s.setup.base}/`)).text();
        const name = html.match(/app-\w+\.js/)[0];
        const got = await new Promise((resolve, reject) => {
            request(`${s.setup.base}/assets/${name}`,
                {headers: {'Accept-Encoding': 'gzip'}}, answer => {
                    const parts = [];
                    answer.on('data', d => parts.push(d));
                    answer.on('end', () => resolve(
                        {headers: answer.headers, body: Buffer.concat(parts)}));
                }).on('error', reject).end();
        });
        const path = join(s.setup.site, 'assets', name);
        assert.equal(got.headers['content-encoding'], 'gzip');
        assert.deepEqual(got.body, readFileSync(`${path}.gz`));
        assert.deepEqual(gunzipSync(got.body), readFileSync(path));
    },

    async 'no path leaves the folder of files'(s) {
        for (const path of ['/assets/..%2findex.html', '/assets/app.js',
            '/assets/%2e%2e', '/assets/../index.html', '/assets/.x.js',
            '/assets/', '/assets/x%00.js', '/index.html'])
            assert.match(String(await raw(s.setup.base, path)), /^40[04]$/,
                path);
    },

    async 'somebody signs in and out'(s) {
        s.expect(/status of 401/);
        const page = await s.open();
        await signIn(page, s, 'desk');
        await page.getByRole('heading', {name: 'Desk'}).waitFor();
        const [cookie] = await cookies(page);
        assert.equal(cookie.httpOnly, true);
        assert.equal(cookie.sameSite, 'Strict');
        const kept = await page.evaluate(() => JSON.stringify(localStorage));
        assert.ok(!kept.includes(cookie.value), 'the token is in storage');
        await page.getByRole('button', {name: 'Preferences'}).click();
        await page.getByRole('button', {name: 'Sign out'}).click();
        await page.getByLabel('Password').waitFor();
        assert.deepEqual(await cookies(page), []);
    },

    async 'a wrong password is told, and what was typed stays'(s) {
        s.expect(/status of 401/);
        const page = await s.open();
        await signIn(page, s, 'desk', 'not this one');
        const said = page.getByRole('alert');
        assert.match(await said.textContent(), /do not fit together/);
        assert.equal(await page.getByLabel('User').inputValue(), 'desk');
    },

    async 'a role without a page is told so'(s) {
        const page = await s.open({role: 'lab'});
        await page.getByText('There is no page for the role lab').waitFor();
    },

    async 'nothing is white before the day theme is asked for'(s) {
        s.expect(/status of 401/);
        const page = await s.open();
        await page.getByLabel('Password').waitFor();
        const ground = () => page.evaluate(
            () => getComputedStyle(document.documentElement).backgroundColor);
        assert.equal(await ground(), 'rgb(12, 13, 11)');
        await s.shot(page, 'sign-in-lane');
        // The style is on the root before the script of the pages has run.
        await page.route('**/app-*.js', route => route.abort());
        s.expect(/ERR_FAILED/);
        await page.reload();
        assert.equal(await ground(), 'rgb(12, 13, 11)');
    },

    async 'the theme is remembered by user'(s) {
        const page = await s.open({role: 'desk'});
        await page.getByRole('button', {name: 'Day light'}).click();
        await page.reload();
        await page.getByRole('button', {name: 'Lane light'}).waitFor();
        assert.equal(await page.evaluate(
            () => document.documentElement.dataset.theme), 'day');
    },

    async 'an unused page locks, ends its session and opens again'(s) {
        s.expect(/status of 401/);
        const page = await s.open({role: 'desk', prefs: {idle: 0.02}});
        await page.getByRole('heading', {name: 'Locked'}).waitFor(
            {timeout: 15000});
        assert.equal(await page.getByRole('heading', {name: 'Desk'}).count(), 0);
        await page.waitForFunction(
            () => !localStorage.getItem('lensclerk.end'));
        assert.deepEqual(await cookies(page), []);
        const {status} = await page.evaluate(
            async () => ({status: (await fetch('/v1/me')).status}));
        assert.equal(status, 401);
        await page.getByLabel('Password').fill(s.setup.accounts.desk.password);
        await page.getByRole('button', {name: 'Open again'}).click();
        await page.getByRole('heading', {name: 'Desk'}).waitFor();
    },

    async 'one tab locks all of the browser'(s) {
        const page = await s.open({role: 'desk'});
        const other = await page.context().newPage();
        await other.goto('/');
        await other.getByRole('heading', {name: 'Desk'}).waitFor();
        await page.getByRole('button', {name: 'Lock', exact: true}).click();
        await other.getByRole('heading', {name: 'Locked'}).waitFor();
    },

    async 'signing in and the shell have no barrier'(s) {
        s.expect(/status of 401/);
        const page = await s.open();
        await page.getByLabel('Password').waitFor();
        await s.accessible(page);
        await s.touchable(page);
        const inside = await s.open({role: 'desk'});
        await inside.getByRole('heading', {name: 'Desk'}).waitFor();
        await s.accessible(inside);
        await inside.getByRole('button', {name: 'Preferences'}).click();
        await s.accessible(inside);
        await s.touchable(inside);
        await s.shot(inside, 'preferences');
    },

    async 'the mirrored language runs from right to left'(s) {
        const page = await s.open({role: 'desk'});
        await page.getByRole('button', {name: 'Preferences'}).click();
        await page.getByLabel('Language').selectOption('en-x-mirror');
        assert.equal(await page.evaluate(() => document.documentElement.dir),
            'rtl');
        await page.keyboard.press('Escape');
        await s.fits(page);
        await s.shot(page, 'mirrored');
    },
};
