// The one WebSocket of a page. Opens itself anew: 2 s after it closed, and when it is silent for 15 s although "open".

const RETRY_MS = 2000;
const SILENT_MS = 15000;

export function listen(path, onBuild, onMessage) {
  const address = `${location.protocol === "https:" ? "wss:" : "ws:"}//${location.host}${path}`;
  let socket = null;
  let heard = 0;
  let retry = 0;

  function drop() {
    if (!socket) return;
    socket.onmessage = socket.onclose = null;
    socket.close();
    socket = null;
  }

  function open() {
    clearTimeout(retry);
    drop();
    heard = performance.now();
    socket = new WebSocket(address);
    socket.onmessage = (event) => {
      heard = performance.now();
      const message = JSON.parse(event.data);
      if ("seq" in message) onMessage(message);
      else onBuild(message.build);
    };
    socket.onclose = () => {
      socket = null;
      retry = setTimeout(open, RETRY_MS);
    };
  }

  setInterval(() => {
    if (socket && performance.now() - heard > SILENT_MS) open();
  }, 1000);
  open();
}
