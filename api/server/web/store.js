// The browser's own database: what waits to be sent, and what the server said last. One connection for the page.

const NAME = "ohmtrail-outbox";
const STORES = { items: { autoIncrement: true }, seen: undefined };
let connection = null;
let refused = false;

/** Whether the storage refused what was to be kept last: browsers no longer tell truly how much room is left. */
export const storageRefused = () => refused;

export const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

async function open() {
  const request = indexedDB.open(NAME, 2);
  request.onupgradeneeded = () => {
    for (const [name, options] of Object.entries(STORES)) if (!request.result.objectStoreNames.contains(name)) request.result.createObjectStore(name, options);
  };
  const database = await done(request);
  const forget = () => { connection = null; };
  database.onclose = forget;
  database.onversionchange = () => { database.close(); forget(); }; // another tab brings a newer page
  return database;
}

/**
 * Do something in one transaction; resolves once it is on the device's storage.
 * @param {"items"|"seen"} name of the store
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => any} work begins requests at once; nothing else may be waited for in it
 */
export async function within(name, mode, work) {
  if (name !== "items" || mode !== "readwrite") return transact(name, mode, work);
  try {
    const result = await transact(name, mode, work);
    refused = false;
    return result;
  } catch (error) { refused = true; throw error; }
}

async function transact(name, mode, work) {
  if (!connection) connection = open().catch((error) => { connection = null; throw error; });
  const database = await connection;
  // "strict": written through to the storage before it counts as kept; some browsers else only promise it.
  const transaction = database.transaction(name, mode, { durability: name === "items" ? "strict" : "relaxed" });
  const over = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error || new Error("The browser's storage refused."));
    transaction.onerror = transaction.onabort;
  });
  const found = work(transaction.objectStore(name));
  const [result] = await Promise.all([found instanceof IDBRequest ? done(found) : Promise.all([found].flat().map((r) => (r instanceof IDBRequest ? done(r) : r))), over]);
  return result;
}
