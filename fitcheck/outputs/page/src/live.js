// The live view: wired when the page is served.
export function startLive() {}
