// Changes as they happen: what a message is about is read again if anybody
// shows it. A page that is not looked at listens to nothing, because a browser
// has few connections to a host.
import {session} from './session.js';
import {stale} from './store.js';

const PAUSE_MS = 2000;

let stop = null, last = '';

function heard(kind, data) {
    // Too much was missed: everything that is shown is read anew.
    if (kind === 'gap') {
        stale('/');
        return;
    }
    const {subject, patient} = JSON.parse(data);
    const paths = {
        reading: ['/v1/readings'], visit: ['/v1/visits'],
        exam: [`/v1/exams/${subject.id}`, '/v1/exams?'],
        order: ['/v1/orders'], patient: [`/v1/patients/${subject.id}`],
    }[subject.kind] ?? [];
    stale(...paths, ...(patient ? [`/v1/patients/${patient}`] : []));
}

// A message of server-sent events: lines "id: …", "event: …", "data: …".
function message(block) {
    const of = name => block.match(new RegExp(`^${name}: ?(.*)$`, 'm'))?.[1];
    last = of('id') ?? last;
    if (of('data') !== undefined) heard(of('event'), of('data'));
}

async function read(signal) {
    const answer = await fetch(`/v1/events${last ? `?after=${last}` : ''}`,
        {signal, cache: 'no-store'});
    if (!answer.ok) throw new Error(`events: ${answer.status}`);
    const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    for (let kept = ''; ;) {
        const {value, done} = await reader.read();
        if (done) return;
        const blocks = (kept + value).split('\n\n');
        kept = blocks.pop();
        blocks.forEach(message);
    }
}

// Reconnects by itself, until it is told to stop.
async function follow(signal) {
    while (!signal.aborted) {
        try {
            await read(signal);
        } catch {
            // a cut network, a restarted service: after a pause, again
        }
        await new Promise(go => setTimeout(go, PAUSE_MS));
    }
}

function listen() {
    const wanted = session.state === 'in' && !document.hidden;
    if (wanted === Boolean(stop)) return;
    stop?.abort();
    stop = wanted ? new AbortController() : null;
    if (!stop) return;
    stale('/'); // what was missed while nobody listened
    follow(stop.signal);
}

session.addEventListener('change', listen);
document.addEventListener('visibilitychange', listen);
