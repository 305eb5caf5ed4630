// The compressed texts at the end of the page: the parcel of data, and the library that draws in 3-D.

const ARRAYS = { u1: Uint8Array, i1: Int8Array, u2: Uint16Array, u4: Uint32Array, f4: Float32Array };

async function unsqueeze(id) {
  const node = document.getElementById(id);
  const text = atob(node.textContent.trim());
  node.remove(); // the page keeps one copy of it, not two
  const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

async function openParcel() {
  const buffer = await unsqueeze("parcel");
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const start = 4 + length;
  const read = (ref) => new ARRAYS[ref.type](buffer, start + ref.at, ref.n);
  return { head, read };
}

async function loadLibrary() {
  const script = document.createElement("script");
  script.textContent = new TextDecoder().decode(await unsqueeze("library"));
  document.head.append(script);
  if (!window.Plotly) throw new Error("the 3-D library did not start");
  return window.Plotly;
}
