// What somebody prefers to see: language, decimal mark, theme, hand, idle
// time. Kept by user in this browser; the theme also for the first picture.
const PRESET = {
    language: 'en', mark: '.', theme: 'lane', hand: 'right', idle: 5,
};
const LOOK = 'lensclerk.look';

function read(name) {
    try {
        return JSON.parse(localStorage.getItem(name) || '{}');
    } catch {
        return {};
    }
}

class Prefs extends EventTarget {
    user = '';
    values = {...PRESET, ...read(LOOK)};

    get(name) {
        return this.values[name];
    }

    // The preferences of who has signed in take over.
    take(user) {
        this.user = user;
        const kept = read(`lensclerk.prefs.${user}`);
        this.apply({...this.values, ...kept});
    }

    set(name, value) {
        this.apply({...this.values, [name]: value});
        localStorage.setItem(LOOK, JSON.stringify(this.values));
        if (this.user)
            localStorage.setItem(`lensclerk.prefs.${this.user}`,
                JSON.stringify(this.values));
    }

    apply(values) {
        this.values = values;
        document.documentElement.dataset.theme = values.theme;
        this.dispatchEvent(new Event('change'));
    }
}

export const prefs = new Prefs();
