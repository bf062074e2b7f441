// A picture blurred by a kernel. Most of a kernel's row is one same share, so
// a row costs its edges and one difference of running sums.

// Runs of equal weight in a row: [from, to, weight], to not included.
function runs(row) {
    const found = [];
    for (let i = 0; i < row.length;) {
        let end = i + 1;
        while (end < row.length && Math.abs(row[end] - row[i]) < 1e-12) end++;
        if (row[i] !== 0) found.push([i, end, row[i]]);
        i = end;
    }
    return found;
}

function runningSums({ink, width, height}) {
    const sums = new Float64Array((width + 1) * height);
    for (let y = 0; y < height; y++)
        for (let x = 0; x < width; x++)
            sums[y * (width + 1) + x + 1] = sums[y * (width + 1) + x]
                + ink[y * width + x];
    return sums;
}

// The light of each point is spread as the kernel says, so the picture at x
// gathers what stands at x - offset. Outside of the picture there is no ink.
export function blurred(picture, kernel) {
    const {width, height} = picture, {n, rows} = kernel;
    const half = (n - 1) / 2, sums = runningSums(picture);
    const out = new Float32Array(width * height);
    rows.forEach((row, r) => {
        const dy = r - half;
        for (const [from, to, weight] of runs(row))
            for (let y = Math.max(0, dy); y < Math.min(height, height + dy);
                y++) {
                const base = (y - dy) * (width + 1);
                for (let x = 0; x < width; x++) {
                    const a = Math.max(x - to + 1 + half, 0);
                    const b = Math.min(x - from + half + 1, width);
                    if (b > a) out[y * width + x] += weight
                        * (sums[base + b] - sums[base + a]);
                }
            }
    });
    return {ink: out, width, height};
}

// Light adds up as it is; screens want it by the curve of sRGB (IEC 61966-2-1).
function encoded(light) {
    const v = light <= 0.0031308 ? 12.92 * light
        : 1.055 * light ** (1 / 2.4) - 0.055;
    return Math.round(255 * Math.min(1, Math.max(0, v)));
}

// Ink on paper of a level of light (1: all that the screen has).
export function pictureOf({ink, width, height}, level) {
    const image = new ImageData(width, height);
    for (let i = 0; i < ink.length; i++) {
        const v = encoded(level * (1 - 0.98 * ink[i]));
        image.data.set([v, v, v, 255], 4 * i);
    }
    return image;
}
