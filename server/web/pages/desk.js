// The desk's day: who comes, the person in hand, readings without a person.
import '../parts/day-list.js';
import '../parts/drop-file.js';
import '../parts/find-person.js';
import '../parts/person-card.js';
import '../parts/tray.js';
import {css, html, look, Part} from '../core/part.js';
import {Watch} from '../core/store.js';
import {t} from '../core/words.js';

class Desk extends Part {
    static properties = {patient: {}};

    static styles = [look, css`
        .head {
            display: flex;
            flex-wrap: wrap;
            gap: 0.6rem;
            align-items: center;
        }
        .desk {
            display: grid;
            gap: 1rem;
            margin-top: 0.6rem;
            grid-template-columns: minmax(17rem, 21rem) minmax(0, 1fr)
                minmax(17rem, 22rem);
            align-items: start;
        }
        @media (max-width: 78rem) {
            .desk {
                grid-template-columns: minmax(16rem, 20rem) minmax(0, 1fr);
            }
            .tray {
                grid-column: 1 / -1;
            }
        }
        @media (max-width: 46rem) {
            .desk {
                grid-template-columns: minmax(0, 1fr);
            }
        }
        .day, .tray {
            min-width: 0;
        }
    `];

    who = new Watch(this, () => this.patient
        ? `/v1/patients/${this.patient}` : '');

    take({detail}) {
        location.hash = `desk/${detail.id}`;
    }

    render() {
        const person = this.patient ? this.who.value : null;
        return html`
            <div class="head"><h1>${t('desk.title')}</h1>
                <lens-drop-file .person=${person}></lens-drop-file>
                <a class="button" href="#downtime">${t('downtime.title')}</a>
            </div>
            <div class="desk">
                <section class="day"><lens-day-list patient=${this.patient || ''}
                    @chosen=${this.take}></lens-day-list></section>
                <section>
                    <lens-find-person @chosen=${this.take}></lens-find-person>
                    ${this.patient ? html`<lens-person-card
                        patient=${this.patient}></lens-person-card>`
                        : html`<p class="soft">${t('desk.nobody')}</p>`}
                </section>
                <section class="tray"><lens-tray .person=${person ?? null}
                    @seek=${e => this.renderRoot.querySelector(
                        'lens-find-person').seek(e.detail)}></lens-tray>
                </section>
            </div>`;
    }
}

customElements.define('lens-desk', Desk);
