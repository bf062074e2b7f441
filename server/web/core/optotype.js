// Test types from their published construction: a grid of 5 by 5 units, every
// stroke and every gap one fifth of the height (ISO 8596 for the ring; the
// same grid for letters, numbers and the E). Paths are in units, 0 to 5.
const BAR = {
    top: [0, 0, 5, 1], middle: [0, 2, 5, 1], bottom: [0, 4, 5, 1],
    left: [0, 0, 1, 5], right: [4, 0, 1, 5], centre: [2, 0, 1, 5],
    'upper-left': [0, 0, 1, 3], 'upper-right': [4, 0, 1, 3],
    'lower-left': [0, 2, 1, 3], 'lower-right': [4, 2, 1, 3],
    half: [0, 2, 4, 1],
};

const BARS = {
    H: ['left', 'right', 'middle'], T: ['top', 'centre'],
    L: ['left', 'bottom'], F: ['left', 'top', 'half'],
    U: ['left', 'right', 'bottom'],
    2: ['top', 'upper-right', 'middle', 'lower-left', 'bottom'],
    4: ['upper-left', 'middle', 'right'],
    5: ['top', 'upper-left', 'middle', 'lower-right', 'bottom'],
    6: ['top', 'left', 'middle', 'lower-right', 'bottom'],
    9: ['top', 'upper-left', 'middle', 'right', 'bottom'],
    E: ['left', 'top', 'middle', 'bottom'],
};

const OUTLINES = {
    Z: [[0, 0], [5, 0], [5, 1], [1.5, 4], [5, 4], [5, 5], [0, 5], [0, 4],
        [3.5, 1], [0, 1]],
    N: [[0, 0], [1.25, 0], [4, 3.4], [4, 0], [5, 0], [5, 5], [3.75, 5],
        [1, 1.6], [1, 5], [0, 5]],
    V: [[0, 0], [1.15, 0], [2.5, 3.6], [3.85, 0], [5, 0], [3, 5], [2, 5]],
};

export const FAMILIES = {
    letters: ['H', 'Z', 'T', 'N', 'U', 'L', 'V', 'F'],
    numbers: ['2', '5', '4', '9', '6'],
    e: ['E0', 'E1', 'E2', 'E3'],
    ring: ['C0', 'C1', 'C2', 'C3'],
};

function turnedPath(path, quarters) {
    const at = new DOMMatrix().translate(2.5, 2.5).rotate(90 * quarters)
        .translate(-2.5, -2.5);
    const turned = new Path2D();
    turned.addPath(path, at);
    return turned;
}

function ring() {
    const path = new Path2D();
    const inner = Math.asin(0.5 / 1.5), outer = Math.asin(0.5 / 2.5);
    path.arc(2.5, 2.5, 2.5, outer, 2 * Math.PI - outer);
    path.arc(2.5, 2.5, 1.5, 2 * Math.PI - inner, inner, true);
    path.closePath();
    return path;
}

function typePath(name) {
    if (name[0] === 'C') return turnedPath(ring(), Number(name[1]));
    const path = new Path2D();
    if (OUTLINES[name]) {
        OUTLINES[name].forEach(([x, y]) => path.lineTo(x, y));
        path.closePath();
    } else for (const bar of BARS[name[0]]) path.rect(...BAR[bar]);
    return name[0] === 'E' ? turnedPath(path, Number(name[1])) : path;
}

// A line of types, drawn as the share of ink in each pixel, with the width of
// a type between them and room around for the blur.
export function drawLine(names, px, margin) {
    const width = Math.round(names.length * px * 2 - px + 2 * margin);
    const height = Math.round(px + 2 * margin);
    const canvas = new OffscreenCanvas(width, height);
    const ctx = canvas.getContext('2d', {willReadFrequently: true});
    names.forEach((name, i) => {
        ctx.setTransform(px / 5, 0, 0, px / 5, margin + i * 2 * px, margin);
        ctx.fill(typePath(name), 'nonzero');
    });
    const {data} = ctx.getImageData(0, 0, width, height);
    const ink = new Float32Array(width * height);
    for (let i = 0; i < ink.length; i++) ink[i] = data[4 * i + 3] / 255;
    return {ink, width, height};
}
