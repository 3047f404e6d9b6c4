// The due list, shown anew once a minute.

import { refresh } from "./ask.js";

const list = document.getElementById("due");
setInterval(() => refresh(list, list.dataset.part), 60_000);
