// Sets the theme before anything is drawn: dark unless this browser was told
// otherwise, so that a dim room never flashes white.
try {
    const kept = JSON.parse(localStorage.getItem('lensclerk.look') || '{}');
    document.documentElement.dataset.theme =
        kept.theme === 'day' ? 'day' : 'lane';
} catch {
    document.documentElement.dataset.theme = 'lane';
}
