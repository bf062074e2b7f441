// What buttons, fields and notes look like, in every component.
import {css} from 'lit';

export const look = css`
    :host {
        display: block;
    }
    * {
        box-sizing: border-box;
    }
    :focus-visible {
        outline: 3px solid var(--accent);
        outline-offset: 2px;
    }
    h1, h2, h3 {
        margin: 0;
        font-weight: 600;
        line-height: 1.2;
    }
    h1 {
        font-size: 1.35rem;
    }
    h2 {
        font-size: 1.1rem;
    }
    h3 {
        font-size: 1rem;
    }
    p {
        margin: 0.25rem 0;
    }
    button, .button {
        min-height: 2.75rem;
        min-width: 2.75rem;
        padding: 0.25rem 0.9rem;
        border: 1px solid var(--edge);
        border-radius: 0.4rem;
        background: var(--well);
        color: var(--ink);
        font: inherit;
        cursor: pointer;
        text-decoration: none;
        display: inline-flex;
        align-items: center;
        justify-content: center;
        gap: 0.4rem;
        touch-action: manipulation;
    }
    button:disabled {
        color: var(--soft);
        border-style: dotted;
        cursor: default;
    }
    button.main, .button.main {
        background: var(--accent);
        color: var(--on-accent);
        border-color: var(--accent);
        font-weight: 600;
    }
    button.main:disabled {
        background: var(--well);
        color: var(--soft);
    }
    button[aria-pressed="true"], button[aria-current] {
        border: 2px solid var(--accent);
        font-weight: 600;
    }
    button.plain {
        border-color: transparent;
        background: none;
    }
    label {
        display: grid;
        gap: 0.2rem;
        color: var(--soft);
    }
    input, select, textarea {
        min-height: 2.75rem;
        width: 100%;
        padding: 0.25rem 0.6rem;
        border: 1px solid var(--edge);
        border-radius: 0.4rem;
        background: var(--well);
        color: var(--ink);
        font: inherit;
    }
    textarea {
        padding-block: 0.5rem;
    }
    summary {
        min-height: 2.75rem;
        align-content: center;
        cursor: pointer;
    }
    .fault {
        border-inline-start: 4px solid var(--accent);
        padding: 0.4rem 0.7rem;
        background: var(--well);
    }
    .caution {
        border-inline-start: 4px dotted var(--accent);
        padding: 0.2rem 0.6rem;
        font-size: 0.92rem;
    }
    .soft {
        color: var(--soft);
    }
    .row {
        display: flex;
        flex-wrap: wrap;
        gap: 0.5rem;
        align-items: center;
    }
    .sheet {
        background: var(--sheet);
        border-radius: 0.5rem;
        padding: 0.8rem;
    }
    .wide {
        position: relative; /* holds what is only for those who listen */
        overflow-x: auto;
    }
    .number {
        display: inline-block;
        max-width: 100%;
        overflow-wrap: anywhere;
    }
    .figure {
        white-space: nowrap;
        font-variant-numeric: tabular-nums;
    }
    .hidden {
        position: absolute;
        width: 1px;
        height: 1px;
        overflow: hidden;
        clip-path: inset(50%);
        white-space: nowrap;
    }
    @media print {
        .no-print {
            display: none;
        }
    }
`;
