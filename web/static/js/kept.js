// What the device keeps for the alarm page in IndexedDB: answers not sent yet, and when it last heard the server.
const NAME = 'ringtell';
const VERSION = 1;
let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore('answers', { keyPath: 'key' });
      asked.result.createObjectStore('facts');
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => { opening = null; reject(asked.error); };
  });
  return opening;
}

async function run(store, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(store, mode);
    const asked = work(transaction.objectStore(store));
    transaction.oncomplete = () => resolve(asked?.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

export async function answers() {
  const found = await run('answers', 'readonly', (store) => store.getAll());
  return found.sort((one, other) => one.order - other.order);
}
export function keepAnswer(answer) { return run('answers', 'readwrite', (store) => store.put(answer)); }
export function dropAnswer(key) { return run('answers', 'readwrite', (store) => store.delete(key)); }
export function fact(name) { return run('facts', 'readonly', (store) => store.get(name)); }
export function keepFact(name, value) { return run('facts', 'readwrite', (store) => store.put(value, name)); }
