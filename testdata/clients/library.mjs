// Plays a whole job with jayson, a general-purpose JSON-RPC client library from
// the npm registry: nothing here is written for this service but the method
// names. Run it where jayson is installed.
//
//     library.mjs SERVICE BENCH
//
// SERVICE is where coilside serves; a token, where one is needed, is in the
// environment as COILSIDE_TOKEN. BENCH stands for the technician; see play.mjs.
import { createRequire } from "node:module";
import path from "node:path";

const MOST_STEPS = 60;
const [service, bench] = process.argv.slice(2);
const require = createRequire(path.join(process.cwd(), "here.js"));
const jayson = require("jayson/promise");

const { hostname, port } = new URL(service);
const token = process.env.COILSIDE_TOKEN;
const client = jayson.Client.http({
  hostname,
  port,
  path: "/rpc",
  headers: token ? { Authorization: "Bearer " + token } : {},
});

// call makes one call; a refusal becomes an exception.
async function call(method, params) {
  const answer = await client.request(method, params);
  if (answer.error) throw new Error(`${method}: ${answer.error.message}`);
  return answer.result;
}

async function ask(url, body) {
  const answer = await fetch(url, body && { method: "POST", body: JSON.stringify(body) });
  return answer.json();
}

async function repair(job, suspects) {
  let reply;
  for (const suspect of suspects) {
    const { result } = await ask(bench + "/repair", { suspect });
    reply = await call("job.repair", { job, suspect, action: "repaired " + suspect, result });
    if (result === "gone") return [reply, true];
  }
  return [reply, false];
}

// misbehave makes the calls a library must make sense of: a batch with a
// notification in it, a method that is not there, a parameter that is wrong.
async function misbehave(job) {
  const batch = await client.request([
    client.request("job.suspects", { job, limit: 1 }, undefined, false),
    client.request("job.list", {}, null, false),
    client.request("job.tel", { job }, undefined, false),
  ]);
  const [suspects, missing] = batch;
  if (batch.length !== 2 || suspects.result?.suspects.length !== 1 || missing.error?.code !== -32601) {
    throw new Error("a batch came back wrong: " + JSON.stringify(batch));
  }
  const wrong = await client.request("job.suspects", { job, limt: 1 });
  if (wrong.error?.code !== -32602 || wrong.error.data.nearest !== "limit") {
    throw new Error("a wrong parameter came back wrong: " + JSON.stringify(wrong));
  }
}

// measure has the bench do one test and records what it shows.
async function measure(job, test) {
  const { answer } = await ask(bench + "/measure", { measure: test.measure, setup: test.setup });
  return call("job.record", { job, test: test.id, answer });
}

async function play() {
  let { job, reply } = await call("job.open", await ask(bench + "/job"));
  await misbehave(job);
  for (let step = 0; step < MOST_STEPS; step++) {
    if (reply.conclusion) {
      const proven = reply.conclusion.suspects;
      let gone;
      [reply, gone] = await repair(job, proven);
      if (gone) {
        // The job is closed as fixed only with the tests done that prove the repair.
        while (reply.next && !reply.proof_of_repair.proven) reply = await measure(job, reply.next);
        if (reply.proof_of_repair.proven) {
          await call("job.close", { job, outcome: "fixed" });
          return [job, ...proven];
        }
      }
    } else if (reply.next) {
      reply = await measure(job, reply.next);
    } else {
      break;
    }
  }
  await call("job.close", { job, outcome: "unproven" });
  return [job];
}

console.log((await play()).join(" "));
