// What a taster entered, kept on this device before it is sent: in its database, else in its small
// store, else only as long as the page is open; `kind` says which, and the page says so too.
const NAME = "coupage-table";
const OLD_MS = 14 * 24 * 3600 * 1000;

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function openDatabase() {
  const request = indexedDB.open(NAME, 1);
  request.onupgradeneeded = () => {
    const touches = request.result.createObjectStore("touches", { keyPath: ["seat", "key"] });
    touches.createIndex("seat", "seat");
  };
  return done(request);
}

class DatabaseStore {
  kind = "database";

  constructor(database, seat) {
    this.database = database;
    this.seat = seat;
  }

  async all() {
    const rows = this.database.transaction("touches").objectStore("touches").index("seat");
    return done(rows.getAll(this.seat));
  }

  // Strict: told to be on the disk before it is called saved, for batteries die.
  write(touches) {
    return new Promise((resolve, reject) => {
      const deal = this.database.transaction("touches", "readwrite", { durability: "strict" });
      for (const touch of touches) deal.objectStore("touches").put({ ...touch, seat: this.seat });
      deal.oncomplete = () => resolve();
      deal.onerror = deal.onabort = () => reject(deal.error);
    });
  }

  // Tables of weeks ago, all sent, make room.
  clear(now) {
    const old = this.database.transaction("touches", "readwrite").objectStore("touches");
    old.openCursor().onsuccess = (event) => {
      const cursor = event.target.result;
      if (!cursor) return;
      if (cursor.value.fate && cursor.value.at < now - OLD_MS) cursor.delete();
      cursor.continue();
    };
  }
}

class SmallStore {
  kind = "small";

  constructor(seat) {
    this.name = `${NAME}-${seat}`;
    localStorage.setItem(`${NAME}-probe`, "1");
  }

  async all() {
    return Object.values(JSON.parse(localStorage.getItem(this.name) || "{}"));
  }

  async write(touches) {
    const there = JSON.parse(localStorage.getItem(this.name) || "{}");
    for (const touch of touches) there[touch.key] = touch;
    localStorage.setItem(this.name, JSON.stringify(there));
  }

  clear() {}
}

class PageStore {
  kind = "page";

  async all() {
    return [];
  }

  async write() {}

  clear() {}
}

export async function openStore(seat) {
  try {
    return new DatabaseStore(await openDatabase(), seat);
  } catch {
    try {
      return new SmallStore(seat);
    } catch {
      return new PageStore();
    }
  }
}

// What outlasts the page and may be missing without harm: the name of this device, its clock's error.
export function recall(name) {
  try {
    return localStorage.getItem(`${NAME}-${name}`);
  } catch {
    return null;
  }
}

export function remember(name, value) {
  try {
    localStorage.setItem(`${NAME}-${name}`, String(value));
  } catch {
    // A private window without storage: it is asked for again next time.
  }
}
