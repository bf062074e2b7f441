// The desk's day.
import {css, html, look, Part} from '../core/part.js';

class Desk extends Part {
    static styles = [look, css``];

    render() {
        return html`<h1>Desk</h1>`;
    }
}

customElements.define('lens-desk', Desk);
