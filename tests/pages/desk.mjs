// The desk's day, as somebody at the desk goes through it.
import assert from 'node:assert/strict';
import {
    GLASSES, measured, number, person, reading, REFRACTION, signed, visit,
} from './data.mjs';

const SIZES = ['desk', 'wide', 'tall'];

function search(page) {
    return page.getByLabel('Find a person').first();
}

function found(page) {
    return page.locator('lens-find-person').first().locator('li');
}

async function desk(s, options = {}) {
    const page = await s.open({role: 'desk', size: 'desk', ...options});
    await page.locator('lens-desk h1').waitFor();
    return page;
}

export default {
    async 'a search answers from the second letter and offers to register last'(
        s) {
        const one = await person(s, {family: 'Ödegaard', given: 'Unni'});
        await person(s, {family: 'Oderbruch', given: 'Tove'});
        const page = await desk(s);
        await search(page).fill('o');
        await page.waitForTimeout(400);
        assert.equal(await found(page).count(), 0);
        await search(page).fill('ode');
        await found(page).nth(2).waitFor();
        const texts = await found(page).allTextContents();
        assert.match(texts.at(-1), /register somebody new/);
        const hit = texts.find(x => x.includes('Ödegaard'));
        assert.ok(hit.includes(one.record_number), 'the second identifier');
        assert.match(hit, /9 Feb 1971/);
    },

    async 'somebody with one name, another script and no birth date'(s) {
        const page = await desk(s);
        await search(page).fill('Ọlábísí');
        await page.getByText('register somebody new').click();
        const form = page.locator('form').filter({hasText: 'Family name'});
        const family = form.getByLabel('Family name');
        assert.equal(await family.inputValue(), 'Ọlábísí');
        await form.getByRole('button', {name: 'Register'}).click();
        const title = page.getByRole('heading', {name: 'Ọlábísí'});
        await title.waitFor();
        assert.match(await title.textContent(), /birth date unknown/);
    },

    async 'a very long name is taken and breaks nothing'(s) {
        const family = 'Wolfeschlegelsteinhausen-'.repeat(4) + 'Berg';
        const one = await person(s, {family});
        for (const size of SIZES) {
            const page = await desk(s, {size, hash: `#desk/${one.id}`});
            await page.getByRole('heading', {name: family}).waitFor();
            await s.fits(page);
        }
    },

    async 'each fault stands at its field and what was typed stays'(s) {
        s.expect(/status of 422/);
        const page = await desk(s);
        await search(page).fill('Nobodyhere');
        await page.getByText('register somebody new').click();
        const form = page.locator('form').filter({hasText: 'Family name'});
        await form.getByLabel('Born').fill('31.12.1968');
        await form.getByLabel('Given name').fill('Ada');
        await form.getByRole('button', {name: 'Register'}).click();
        const born = form.getByLabel('Born');
        await form.locator('[aria-invalid=true]').waitFor();
        assert.equal(await born.getAttribute('aria-invalid'), 'true');
        assert.equal(await born.inputValue(), '31.12.1968');
        assert.equal(await form.getByLabel('Given name').inputValue(), 'Ada');
        await born.fill('1968-12-31');
        await form.getByRole('button', {name: 'Register'}).click();
        await page.getByRole('heading', {name: 'Nobodyhere'}).waitFor();
    },

    async 'a likely duplicate is told with a way to the other one'(s) {
        const one = await person(s, {family: 'Penhallow', given: 'Ruan'});
        const page = await desk(s);
        await search(page).fill('Penhallow');
        await page.getByText('register somebody new').click();
        const form = page.locator('form').filter({hasText: 'Family name'});
        await form.getByLabel('Given name').fill('Ruan');
        await form.getByLabel('Born').fill('1971-02-09');
        await form.getByRole('button', {name: 'Register'}).click();
        await page.getByRole('button', {name: 'Show that person'}).click();
        await page.getByRole('heading', {name: one.record_number}).waitFor();
    },

    async 'by keyboard alone somebody is found and taken in hand'(s) {
        const one = await person(s, {family: 'Trevanion'});
        const page = await desk(s);
        await search(page).focus();
        await page.keyboard.type('trevan');
        await found(page).first().waitFor();
        await page.keyboard.press('ArrowDown');
        await page.keyboard.press('Enter');
        await page.getByRole('heading', {name: one.record_number}).waitFor();
    },

    async 'a dropped file shows both eyes beside the original, then is stored'(
        s) {
        const one = await person(s, {family: 'Carvalho-Finch'});
        const page = await desk(s);
        const text = JSON.stringify(reading({record_number: one.record_number}),
            null, 2);
        const data = await page.evaluateHandle(t => {
            const d = new DataTransfer();
            d.items.add(new File([t], 'bench.json', {type: 'text/plain'}));
            return d;
        }, text);
        await page.dispatchEvent('lens-desk', 'drop', {dataTransfer: data});
        const dialog = page.getByRole('dialog', {name: 'bench.json'});
        await dialog.locator('lens-eye-panel[side=left]').waitFor();
        const right = dialog.locator('lens-eye-panel[side=right]');
        const left = dialog.locator('lens-eye-panel[side=left]');
        assert.match(await right.textContent(), /−2.25[^+−]*−0.75 × 172/);
        assert.match(await left.textContent(), /−1.50[^+−]*−0.50 × 008/);
        assert.ok((await right.boundingBox()).x < (await left.boundingBox()).x);
        assert.match(await dialog.locator('pre').textContent(), /"vertex_mm": 12/);
        await s.accessible(page);
        await s.touchable(page);
        await s.shot(page, 'desk-preview');
        const before = await s.api('desk', 'GET',
            `/v1/patients/${one.id}/timeline`);
        assert.equal(before.items.length, 0);
        await dialog.getByRole('button', {name: 'Store it'}).click();
        await page.getByText('1 reading stored').waitFor();
        const after = await s.api('desk', 'GET',
            `/v1/patients/${one.id}/timeline`);
        assert.equal(after.items.length, 1);
    },

    async 'a file that names another person is said to have gone there'(s) {
        const here = await person(s, {family: 'Inhand-Pascoe'});
        const other = await person(s, {family: 'Otherwise-Lund'});
        const page = await desk(s, {hash: `#desk/${here.id}`});
        await page.getByRole('heading', {name: 'Inhand-Pascoe'}).waitFor();
        await page.locator('input[type=file]').setInputFiles({
            name: 'r.json', mimeType: 'application/json', buffer: Buffer.from(
                JSON.stringify(reading({record_number: other.record_number})))});
        const dialog = page.getByRole('dialog', {name: 'r.json'});
        await dialog.getByRole('button', {name: 'Store it'}).click();
        await page.getByText('1 reading stored. 1 of them names another person')
            .waitFor();
        const {items} = await s.api('desk', 'GET',
            `/v1/patients/${other.id}/timeline`);
        assert.equal(items.length, 1);
    },

    async 'what a file gets wrong is told with its place, and nothing is stored'(
        s) {
        s.expect(/status of 422/);
        const page = await desk(s);
        const bad = reading(null, {right: {sphere: -99}, kind: 'autorefracton'});
        await page.locator('input[type=file]').setInputFiles({
            name: 'bad.json', mimeType: 'application/json',
            buffer: Buffer.from(JSON.stringify(bad))});
        const dialog = page.getByRole('dialog', {name: 'bad.json'});
        const alert = dialog.getByRole('alert');
        await alert.waitFor();
        assert.match(await alert.textContent(), /kind/);
        assert.equal(await dialog.getByRole('button', {name: 'Store it'})
            .isDisabled(), true);
        await dialog.getByRole('button', {name: 'Leave it out'}).click();
        await dialog.waitFor({state: 'hidden'});
    },

    async 'a reading of the tray is given to the person in hand'(s) {
        const one = await person(s, {family: 'Halvorsen-Adeyemi'});
        const sent = await s.api('device', 'POST', '/v1/readings',
            reading({family: 'Halvorsen-Adeyem', given: 'Tamsin'}));
        assert.equal(sent.status, 'unclaimed');
        const page = await desk(s);
        const row = page.locator('lens-tray li').filter(
            {hasText: 'Halvorsen-Adeyem'});
        await row.getByRole('button', {name: 'Find who it is'}).click();
        await found(page).filter({hasText: one.record_number}).click();
        await page.getByRole('heading', {name: one.record_number}).waitFor();
        await row.getByRole('button', {name: /Give it to/}).click();
        await row.waitFor({state: 'detached'});
        const now = await s.api('desk', 'GET', `/v1/readings/${sent.id}`);
        assert.equal(now.patient, one.id);
    },

    async 'the day shows who comes, and a visit is begun'(s) {
        const one = await person(s, {family: 'Yelverton'});
        await visit(s, await person(s, {family: 'Quartermain'}));
        const page = await desk(s);
        await page.locator('lens-day-list li').filter({hasText: 'Quartermain'})
            .waitFor();
        await search(page).fill(one.record_number);
        await found(page).filter({hasText: 'Yelverton'}).click();
        const card = page.locator('lens-person-card');
        await card.getByRole('button', {name: 'Begin a visit'}).click();
        await card.getByLabel('Reason').fill('broken frame');
        await card.getByRole('button', {name: 'Begin a visit'}).last().click();
        const row = page.locator('lens-day-list li').filter(
            {hasText: 'Yelverton'});
        await row.waitFor();
        assert.match(await row.textContent(), /broken frame/);
    },

    async 'the person in hand has glasses, Rx and what is still needed'(s) {
        const one = await person(s, {family: 'Dunwoody'});
        const first = await measured(s, one);
        await measured(s, one, GLASSES);
        await signed(s, one, first);
        const two = await person(s, {family: 'Empty-Handed'});
        const page = await desk(s, {hash: `#desk/${one.id}`});
        const card = page.locator('lens-person-card');
        const glasses = card.locator('section').filter(
            {hasText: 'Habitual glasses'});
        await glasses.getByText('−2.00').first().waitFor();
        // Whoever listens hears no hyphen.
        assert.match(await glasses.textContent(),
            /sphere minus 2.00, cylinder minus 0.50 axis 175/);
        const rx = card.locator('section').filter({hasText: 'Final Rx'});
        assert.match(await rx.first().textContent(), /−2.25[^+−]*−0.75 × 172/);
        assert.equal(await card.getByText('Still needed').count(), 0);
        await s.shot(page, 'desk-person');
        await page.goto(`/#desk/${two.id}`);
        await card.getByText('Still needed today: an objective refraction, the'
            + ' glasses worn, a PD.').waitFor();
    },

    async 'an Rx prints with signs, words and three digits of axis'(s) {
        const one = await person(s, {family: 'Ashworth-Bello'});
        const source = await measured(s, one, {right: {sphere: 0,
            cylinder: -0.75, axis: 8}, left: {sphere: 1.25}});
        const {id} = await signed(s, one, source);
        const page = await s.open({role: 'desk', hash: `#rx/${id}`});
        await page.getByText('Ashworth-Bello').waitFor();
        // Read with signs and three digits, heard in words.
        const rows = without => page.locator('lens-rx tr').evaluateAll(
            (all, gone) => all.map(tr => {
                const copy = tr.cloneNode(true);
                copy.querySelectorAll(gone).forEach(e => e.remove());
                return [...copy.cells].map(c => c.textContent.trim()).join(' ')
                    .replace(/\s+/g, ' ').trim();
            }), without);
        const seen = await rows('.hidden');
        assert.deepEqual(seen.slice(1), ['R right plano −0.75 008',
            'L left +1.25']);
        const heard = await rows('[aria-hidden]');
        assert.deepEqual(heard.slice(1), [
            `R right plano minus 0.75 8${' not given'.repeat(3)}`,
            `L left plus 1.25${' not given'.repeat(5)}`]);
        await s.accessible(page);
        await s.touchable(page);
        await page.emulateMedia({media: 'print'});
        assert.equal(await page.getByRole('button', {name: 'Print'})
            .isVisible(), false);
        assert.equal(await page.evaluate(() => getComputedStyle(
            document.documentElement).backgroundColor), 'rgb(255, 255, 255)');
        await s.shot(page, 'rx-print');
        const pdf = await page.pdf({format: 'A4'});
        assert.equal((pdf.toString('latin1').match(/\/Type\s*\/Page\b/g) || [])
            .length, 1, 'one page');
    },

    async 'the downtime sheet holds the day with each last final Rx'(s) {
        const one = await person(s, {family: 'Sandoval-Reyes'});
        await signed(s, one, await measured(s, one));
        const page = await s.open({role: 'desk', hash: '#downtime'});
        const row = page.locator('lens-downtime tr').filter(
            {hasText: one.record_number});
        await row.waitFor();
        assert.match(await row.textContent(), /−2.25/);
        await s.accessible(page);
        await s.shot(page, 'downtime');
    },

    async 'figures take the decimal mark of whoever reads'(s) {
        const one = await person(s);
        await measured(s, one, GLASSES);
        const page = await desk(s, {hash: `#desk/${one.id}`,
            prefs: {mark: ','}});
        const card = page.locator('lens-person-card');
        await card.getByText('−2,00').first().waitFor();
        assert.equal(await card.getByText('−2.00').count(), 0);
    },

    async 'the desk has no barrier at any size, and fits'(s) {
        const one = await person(s, {family: 'Widdershins'});
        await visit(s, one);
        await signed(s, one, await measured(s, one));
        await s.api('device', 'POST', '/v1/readings', reading(null, REFRACTION));
        for (const size of SIZES) {
            const page = await desk(s, {size, hash: `#desk/${one.id}`});
            await page.locator('lens-tray li').first().waitFor();
            await page.locator('lens-person-card h2').waitFor();
            await s.accessible(page, size === 'desk' ? undefined : ['lane']);
            await s.touchable(page);
            await s.fits(page);
            await s.shot(page, `desk-${size}`);
        }
    },

    async 'at four times the size it still reads in one column'(s) {
        const one = await person(s, {family: `Zoomed-${number()}`});
        await visit(s, one);
        for (const width of [720, 360]) {
            // 1440 px at 200 and 400 percent (WCAG 2.2, 1.4.10).
            const page = await desk(s, {hash: `#desk/${one.id}`,
                more: {viewport: {width, height: 600}}});
            await page.locator('lens-person-card h2').waitFor();
            await s.fits(page);
        }
    },

    async 'mirrored, the right eye still stands at the left'(s) {
        const page = await desk(s, {prefs: {language: 'en-x-mirror'}});
        await page.locator('input[type=file]').setInputFiles({
            name: 'r.json', mimeType: 'application/json',
            buffer: Buffer.from(JSON.stringify(reading(null)))});
        const right = page.locator('lens-eye-panel[side=right]');
        const left = page.locator('lens-eye-panel[side=left]');
        await left.waitFor();
        assert.ok((await right.boundingBox()).x < (await left.boundingBox()).x);
        await s.fits(page);
        await s.shot(page, 'desk-mirrored');
    },
};
