// See the difference: the blur drawn is the optics core's, the types are of
// their published construction, a switch is quick.
import assert from 'node:assert/strict';
import {GLASSES, measured, person, started} from './data.mjs';

async function seen(s, options = {}) {
    const who = await person(s, {family: 'Seen'});
    await measured(s, who, {...GLASSES, right: {sphere: -1.5, cylinder: -0.5,
        axis: 20}, left: {sphere: -1.5, cylinder: -0.5, axis: 10}});
    const source = await measured(s, who, {right: {sphere: -2.25,
        cylinder: -1, axis: 35}});
    const {id} = await started(s, who, source);
    const page = await s.open({role: 'prescriber', hash: `#difference/${id}`,
        ...options});
    await page.locator('canvas').waitFor();
    return {page, id};
}

// What the page holds: the sharp line, the kernel, the blurred line.
async function pictures(page) {
    return page.evaluate(async () => {
        const at = document.querySelector('lens-app').shadowRoot
            .querySelector('lens-difference');
        await at.updateComplete;
        const {sharp, now, kernel, px} = at.pictures;
        const canvas = at.shadowRoot.querySelector('canvas');
        return {width: sharp.width, height: sharp.height, px,
            sharp: Array.from(sharp.ink), now: Array.from(now.ink),
            n: kernel.n, rows: kernel.rows, css: canvas.clientWidth,
            drawn: Array.from(canvas.getContext('2d').getImageData(0, 0,
                sharp.width, sharp.height).data.filter((_, i) => i % 4 === 0)),
            line: at.line};
    });
}

// Each point's light spread by the kernel, summed as the definition says.
function reference({sharp, width, height, n, rows}, x, y) {
    const half = (n - 1) / 2;
    let sum = 0;
    for (let r = 0; r < n; r++)
        for (let c = 0; c < n; c++) {
            const sx = x - (c - half), sy = y - (r - half);
            if (sx >= 0 && sx < width && sy >= 0 && sy < height)
                sum += rows[r][c] * sharp[sy * width + sx];
        }
    return sum;
}

function srgb(light) {
    const v = light <= 0.0031308 ? 12.92 * light
        : 1.055 * light ** (1 / 2.4) - 0.055;
    return 255 * v;
}

export default {
    async 'the blur drawn is a convolution with the kernel of the core'(s) {
        const {page, id} = await seen(s);
        const p = await pictures(page);
        const {right} = await s.api('prescriber', 'GET',
            `/v1/exams/${id}/delta`);
        const lens = ({sphere, cylinder, axis}) => ({sphere, cylinder, axis});
        const through = await s.api('desk', 'POST', '/v1/optics/look-through',
            {correction: lens(right.final), worn: lens(right.habitual),
                pupil_mm: 4});
        const arcmin = 5 * 10 ** [1, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1,
            0][p.line] / p.px;
        const kernel = await s.api('desk', 'POST', '/v1/optics/point-spread',
            {...lens(through), pupil_mm: 4, arcmin_per_pixel: arcmin});
        assert.equal(kernel.n, p.n);
        kernel.rows.forEach((row, r) => row.forEach((v, c) => assert.ok(
            Math.abs(v - p.rows[r][c]) < 1e-6)));
        let most = 0, inked = 0;
        for (let y = 1; y < p.height; y += 7)
            for (let x = 1; x < p.width; x += 11) {
                const want = reference(p, x, y);
                if (want > 0.05) inked++;
                most = Math.max(most, Math.abs(want
                    - p.now[y * p.width + x]));
                // The lane theme's paper has three tenths of the light.
                const shown = srgb(0.3 * (1 - 0.98 * want));
                assert.ok(Math.abs(p.drawn[y * p.width + x] - shown) <= 1,
                    `at ${x} ${y}: ${p.drawn[y * p.width + x]} for ${shown}`);
            }
        console.log(`blur: off by ${most.toExponential(1)} at most, kernel`
            + ` ${p.n} pixels`);
        assert.ok(inked > 100, 'there is ink where it was looked');
        assert.ok(p.n > 9, 'a blur worth its name');
        assert.ok(most < 1e-4, `${most}`);
    },

    async 'types are as their construction says'(s) {
        s.expect(/willReadFrequently/);
        const {page} = await seen(s);
        await page.getByText('Chart and screen').click();
        // E: a back of 5 and three bars of 4 more, in squares of a fifth.
        // Ring: an annulus of 2.5 and 1.5 less a gap of 1 through it.
        const gap = [...Array(1000).keys()].map(i => i / 1000 - 0.4995).reduce(
            (sum, y) => sum + (Math.sqrt(6.25 - y * y)
                - Math.sqrt(2.25 - y * y)) / 1000, 0);
        for (const [family, area] of [['e', 17], ['ring', 4 * Math.PI - gap]]) {
            await page.locator('lens-difference select').first().selectOption(family);
            await page.waitForTimeout(500);
            const p = await pictures(page);
            const ink = p.sharp.reduce((a, b) => a + b, 0);
            const want = 5 * area * (p.px / 5) ** 2;
            assert.ok(Math.abs(ink - want) < want * 0.01,
                `${family}: ${ink} for ${want}`);
            await s.shot(page, `difference-${family}`);
        }
    },

    async 'on a measured screen at a known distance types have their size'(s) {
        s.expect(/willReadFrequently/); // the test reads, the page doesn't
        const {page} = await seen(s, {more: {viewport: {width: 2600,
            height: 1200}}});
        await page.getByText('Chart and screen').click();
        await page.getByLabel('Viewing distance').fill('400');
        await page.getByLabel('Viewing distance').press('Tab');
        const larger = page.getByRole('button', {name: 'larger line'});
        while (await larger.isEnabled()) await larger.click();
        await page.waitForTimeout(500);
        const p = await pictures(page);
        // logMAR 1: 50' at 4 m are 58.18 mm; a card of 85.6 mm has 324 px.
        const want = 2 * 4000 * Math.tan(25 / 60 * Math.PI / 180) * 324 / 85.6;
        const got = p.px * p.css / p.width;
        assert.ok(Math.abs(got - want) < 1.5, `${got} for ${want}`);
        await page.getByRole('button', {name: 'Wider'}).click();
        const wider = await pictures(page);
        assert.ok(wider.px * wider.css / wider.width > got);
    },

    async 'one touch changes between now and new in under 100 ms'(s) {
        const {page} = await seen(s);
        const took = await page.evaluate(async () => {
            const at = document.querySelector('lens-app').shadowRoot
                .querySelector('lens-difference');
            const [now, fresh] = at.shadowRoot.querySelectorAll(
                '.switch button');
            const times = [];
            for (let i = 0; i < 10; i++) {
                const began = performance.now();
                (i % 2 ? now : fresh).click();
                await at.updateComplete;
                await new Promise(done => requestAnimationFrame(done));
                times.push(performance.now() - began);
            }
            return times.sort((a, b) => a - b);
        });
        console.log(`a switch: ${took[5].toFixed(1)} ms, worst`
            + ` ${took[9].toFixed(1)}`);
        assert.ok(took[5] < 100);
        const frames = await page.evaluate(async () => {
            const at = document.querySelector('lens-app').shadowRoot
                .querySelector('lens-difference');
            const drawing = [];
            const began = performance.now();
            let n = 0;
            while (performance.now() - began < 1000) {
                at.mode = n++ % 2 ? 'now' : 'new';
                const start = performance.now();
                await at.updateComplete;
                drawing.push(performance.now() - start);
                await new Promise(done => requestAnimationFrame(done));
            }
            return {n, each: drawing.sort((a, b) => a - b)[n >> 1]};
        });
        console.log(`redrawn ${frames.n} times in a second,`
            + ` ${frames.each.toFixed(2)} ms each`);
        // A frame of 60 a second has 16.7 ms; other work shares the machine.
        assert.ok(frames.each < 16.7, `${frames.each} ms`);
    },

    async 'it says in plain words what it is, and shows nothing else'(s) {
        const {page, id} = await seen(s);
        await page.getByText(/Your right eye now needs 4 quarter steps more/)
            .waitFor();
        await page.getByText(/turned by 15 degrees/).waitFor();
        await page.getByText('A simulation from the measured difference')
            .waitFor();
        assert.equal(await page.getByText('Seen').count(), 0, 'no name');
        assert.equal(await page.getByRole('banner').count(), 0);
        await page.getByRole('button', {name: 'half and half'}).click();
        await s.shot(page, 'difference-half');
        await page.getByRole('link', {name: 'Back to the exam'}).click();
        await page.waitForURL(new RegExp(`#exam/${id}`));
    },

    async 'the difference has no barrier at either size, and fits'(s) {
        for (const size of ['wide', 'tall']) {
            const {page} = await seen(s, {size});
            await s.accessible(page);
            await page.getByText('Chart and screen').click();
            await s.accessible(page, ['lane']);
            await s.touchable(page);
            await s.fits(page);
            await s.shot(page, `difference-${size}`);
        }
        const {page} = await seen(s,
            {more: {viewport: {width: 320, height: 600}}});
        await s.fits(page);
    },
};
