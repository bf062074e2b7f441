// Makes the pages: installs what the lock file pins, bundles, names each file
// by the hash of its content, compresses.
//   node build.mjs SOURCE WORK STAMP DEPFILE
// WORK/site is what the daemon serves. Its packages are in WORK/node_modules,
// so that the source tree may be read-only.
import {spawnSync} from 'node:child_process';
import {createHash} from 'node:crypto';
import {
    cpSync, existsSync, mkdirSync, readFileSync, readdirSync, renameSync,
    rmSync, writeFileSync,
} from 'node:fs';
import {createRequire} from 'node:module';
import {join, relative, resolve} from 'node:path';
import {gzipSync} from 'node:zlib';

const [source, work, stamp, depfile] = process.argv.slice(2);
const PACKAGE_FILES = ['package.json', 'package-lock.json', '.npmrc'];

function install() {
    const lock = readFileSync(join(source, 'package-lock.json'));
    const hash = createHash('sha256').update(lock).digest('hex');
    const mark = join(work, 'node_modules', '.installed');
    if (existsSync(mark) && readFileSync(mark, 'utf8') === hash) return;
    for (const name of PACKAGE_FILES)
        cpSync(join(source, name), join(work, name));
    const done = spawnSync('npm', ['ci', '--ignore-scripts', '--no-progress',
        '--prefer-offline', '--fetch-retries=1'],
    {cwd: work, encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe']});
    if (done.status !== 0) {
        console.error((done.stderr || String(done.error)).slice(-1500));
        console.error('The packages of the pages could not be fetched by npm.'
            + '\nThe build needs them once; look at "npm config get registry"'
            + ' and at this machine\'s way to it, then start again.');
        process.exit(1);
    }
    writeFileSync(mark, hash);
}

// A library's sheet as a text, for the shadow root of one component.
const sheetAsText = {
    name: 'sheet-as-text',
    setup(build) {
        build.onLoad({filter: /node_modules.*\.css$/}, args => ({
            contents: readFileSync(args.path, 'utf8'), loader: 'text'}));
    },
};

async function bundle(site) {
    const esbuild = createRequire(join(resolve(work), 'x.js'))('esbuild');
    const common = {
        absWorkingDir: resolve(source),
        nodePaths: [join(resolve(work), 'node_modules')],
        bundle: true, minify: true, metafile: true, charset: 'utf8',
        target: ['chrome109', 'firefox115', 'safari16.4'],
        entryNames: '[name]-[hash]', chunkNames: '[name]-[hash]',
        outdir: join(resolve(site), 'assets'),
        logLevel: 'warning', legalComments: 'eof',
    };
    return Promise.all([
        esbuild.build({...common, entryPoints: ['app.js', 'style.css'],
            format: 'esm', splitting: true, plugins: [sheetAsText]}),
        // At the head of the document and before anything is drawn.
        esbuild.build({...common, entryPoints: ['theme.js'],
            format: 'iife'}),
        esbuild.build({...common, entryPoints: ['icon.svg'],
            bundle: false, minify: false, loader: {'.svg': 'copy'}}),
    ]);
}

async function main() {
    const site = join(work, 'site'), next = join(work, 'site.new');
    mkdirSync(work, {recursive: true});
    install();
    rmSync(next, {recursive: true, force: true});
    const results = await bundle(next);
    const inputs = new Set(), made = {}, sizes = {};
    for (const {metafile} of results) {
        for (const name of Object.keys(metafile.inputs)) inputs.add(name);
        for (const [name, out] of Object.entries(metafile.outputs)) {
            const file = name.split('/').pop();
            if (out.entryPoint) made[out.entryPoint] = file;
            sizes[file] = {
                imports: out.imports.filter(i => i.path).map(
                    i => ({kind: i.kind, file: i.path.split('/').pop()})),
                entry: out.entryPoint ?? null,
            };
        }
    }
    let html = readFileSync(join(source, 'index.html'), 'utf8');
    html = html.replace(/\{\{([\w.]+)\}\}/g, (_, name) => {
        if (!made[name]) throw new Error(`index.html: no ${name} was made`);
        return `/assets/${made[name]}`;
    });
    writeFileSync(join(next, 'index.html'), html);
    for (const name of readdirSync(join(next, 'assets')))
        compress(join(next, 'assets', name), sizes[name]);
    compress(join(next, 'index.html'), {});
    writeFileSync(join(work, 'sizes.json'), JSON.stringify(sizes, null, 1));
    rmSync(site, {recursive: true, force: true});
    renameSync(next, site);
    finish([...inputs]);
}

function compress(path, size) {
    const plain = readFileSync(path);
    const small = gzipSync(plain, {level: 9});
    Object.assign(size, {bytes: plain.length, gzip: small.length});
    if (small.length < plain.length) writeFileSync(`${path}.gz`, small);
}

function finish(inputs) {
    const needs = [...inputs.filter(n => !n.includes('node_modules')),
        'index.html', 'build.mjs', ...PACKAGE_FILES];
    const paths = needs.map(n => resolve(source, n).replaceAll(' ', '\\ '));
    writeFileSync(depfile, `${stamp}: ${paths.join(' ')}\n`);
    writeFileSync(stamp, `${relative(source, work)}\n`);
}

await main();
