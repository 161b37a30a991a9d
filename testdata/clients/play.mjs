#!/usr/bin/env node
// Plays a whole job over HTTP with nothing but node, 20 or later.
//
//     play.mjs SERVICE BENCH
//
// SERVICE is where coilside serves, such as http://127.0.0.1:7285; a token, where
// one is needed, is in the environment as COILSIDE_TOKEN. BENCH stands for the
// technician: a small HTTP service that is told what to measure, in which setup,
// and answers with what the meter shows. Put your own in its place.

const MOST_STEPS = 60;
const [service, bench] = process.argv.slice(2);
const token = process.env.COILSIDE_TOKEN;

async function post(url, body, headers = {}) {
  const answer = await fetch(url, {
    method: "POST",
    headers: { "Content-Type": "application/json", ...headers },
    body: JSON.stringify(body),
  });
  if (!answer.ok) throw new Error(`${url}: ${answer.status} ${await answer.text()}`);
  return answer.json();
}

let calls = 0;

// call makes one call; a refusal becomes an exception.
async function call(method, params) {
  const id = ++calls;
  const headers = token ? { Authorization: "Bearer " + token } : {};
  const answer = await post(service + "/rpc", { jsonrpc: "2.0", id, method, params }, headers);
  if (answer.id !== id) throw new Error(`the answer is to call ${answer.id}, not ${id}`);
  if (answer.error) throw new Error(`${method}: ${answer.error.message}`);
  return answer.result;
}

// repair mends one suspect after the other until the complaint is gone.
async function repair(job, suspects) {
  let reply;
  for (const suspect of suspects) {
    const { result } = await post(bench + "/repair", { suspect });
    reply = await call("job.repair", { job, suspect, action: "repaired " + suspect, result });
    if (result === "gone") return [reply, true];
  }
  return [reply, false];
}

// measure has the bench do one test and records what it shows.
async function measure(job, test) {
  const { answer } = await post(bench + "/measure", { measure: test.measure, setup: test.setup });
  return call("job.record", { job, test: test.id, answer });
}

async function play() {
  const wanted = await (await fetch(bench + "/job")).json();
  let { job, reply } = await call("job.open", wanted);
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
