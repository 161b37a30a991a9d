// Plays a plan (JSON, the first argument) with json-rules-engine and prints states and figures.
import { readFileSync } from 'node:fs'
import { Engine } from 'json-rules-engine'

const plan = JSON.parse(readFileSync(process.argv[2]))
const { start, seconds } = plan

const begin = performance.now()
const engine = new Engine([], { allowUndefinedFacts: true })
for (const rule of plan.rules) {
  // A derived flag is a fact of the run; rules of higher priority run before.
  const flag = rule.event.type
  engine.addRule({ ...rule, onSuccess: (_, almanac) => almanac.addFact(flag, true) })
}
console.log('compile', (performance.now() - begin) / 1000)

const facts = {}
let almanac, fired
// Everything is derived anew, as the engine keeps no account of what stands on what.
async function run () {
  const result = await engine.run(facts)
  almanac = result.almanac
  fired = result.events.map(e => e.type)
}
async function load () { Object.assign(facts, plan.given); await run() }
async function change ([name, value]) { facts[name] = value; await run() }
async function restore () {
  const kept = facts[start]
  delete facts[start]
  await run()
  await change([start, kept])
}
const show = () => console.log('state', ...fired)

await load(); show()
for (const c of plan.changes.slice(0, plan.shown)) { await change(c); show() }
const kept = facts[start]
delete facts[start]
await run(); show()
await change([start, kept]); show()

if (seconds > 0) {
  await timed('load', 1, load)
  let next = 0
  await timed('change', 1, () => change(plan.changes[next++ % plan.changes.length]))
  await timed('restore', 1, restore)
}
if (seconds > 0 && plan.weigh) {
  const held = []
  globalThis.gc()
  const before = process.memoryUsage().heapUsed
  for (let i = 0; i < 50; i++) { await load(); held.push(almanac) }
  globalThis.gc()
  console.log('bytes', (process.memoryUsage().heapUsed - before) / held.length)
}

async function timed (name, of, what) {
  const until = performance.now() + seconds * 1000
  for (let n = 0; n < 3 || (performance.now() < until && n < 2000); n++) {
    const t = performance.now()
    await what()
    console.log(name, (performance.now() - t) / 1000 / of)
  }
}
