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

    connectedCallback() {
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
