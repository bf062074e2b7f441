// What every component of ours is: it draws itself anew when a preference
// changes, and wears the common look.
import {LitElement} from 'lit';
import {look} from './look.js';
import {prefs} from './prefs.js';

export class Part extends LitElement {
    static styles = look;

    constructor() {
        super();
        this.redraw = () => this.requestUpdate();
    }

    // A class field hides the accessor of the reactive property that it sets at
    // first; its value has to go through the accessor.
    uncover() {
        for (const name of this.constructor.elementProperties.keys()) {
            if (!Object.hasOwn(this, name)) continue;
            const value = this[name];
            delete this[name];
            this[name] = value;
        }
    }

    connectedCallback() {
        this.uncover();
        super.connectedCallback();
        prefs.addEventListener('change', this.redraw);
    }

    disconnectedCallback() {
        super.disconnectedCallback();
        prefs.removeEventListener('change', this.redraw);
    }
}

export {css, html, nothing, svg} from 'lit';
export {look} from './look.js';
