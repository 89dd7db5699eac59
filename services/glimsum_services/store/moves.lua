-- One call to the ledger, whole or not at all: what its verbs (verbs.lua) share.
-- KEYS: keys.py, in its order. ARGV: verb, run, arguments as JSON.
-- Time is the server's alone, so that the clocks of the workers do not matter.
-- An item is named by its tag, "stage/item"; waiting, later and held hold the current stage only.
local RUN, ORDER, WAITING, LATER, HELD, HOLDERS, TOKENS, TRIES, RESULTS, FAILURES, ASIDE, OPEN,
  EVENTS, PULSE, WEDGES, WEDGE_IN_WORK = unpack(KEYS)
local call, name, asked = redis.call, ARGV[2], cjson.decode(ARGV[3])
local clock = call('TIME')
local now = tonumber(clock[1]) + tonumber(clock[2]) / 1e6
local stage, ended = unpack(call('HMGET', RUN, 'stage', 'ended'))
local tag = asked.item and asked.stage .. '/' .. asked.item

local function stamp(time) return string.format('%.6f', time) end
local function place(of, index) return asked.places[of] * 2 ^ 32 + index end

local function note(kind, about, worker)
  local revision = call('HINCRBY', RUN, 'revision', 1)
  call('XADD', EVENTS, 'MAXLEN', '~', 100000, '*', 'kind', kind, 'run', name, 'revision', revision,
    'stage', stage, 'item', about and about:match('/(.*)$') or '', 'worker', worker or '')
end

local function rank() -- the most urgent first, among equals the oldest
  local priority, begun, control, waits =
    unpack(call('HMGET', RUN, 'priority', 'begun', 'control', 'waits'))
  local place_in_line = (100 - priority) * 1e10 + begun
  call('ZADD', OPEN, place_in_line, name)
  if stage ~= 'wedge' then return end
  if control == 'run' and (waits or '') == '' then call('ZADD', WEDGES, place_in_line, name)
  else call('ZREM', WEDGES, name) end
end

-- A wedge takes one slot of all: frames go on in the others.
local function another_wedge()
  return stage == 'wedge' and (call('GET', WEDGE_IN_WORK) or name) ~= name
end

local function note_wedge(worker)
  if stage ~= 'wedge' then return end
  if worker then call('SET', WEDGE_IN_WORK, name)
  elseif not another_wedge() then call('DEL', WEDGE_IN_WORK) end
end

-- Takes an item from where it is and puts it where it belongs now, into the hands of `worker`.
local function put(about, queue, score, worker)
  for _, key in ipairs({ WAITING, LATER, HELD }) do call('ZREM', key, about) end
  call('HDEL', HOLDERS, about)
  if queue then call('ZADD', queue, score, about) end
  if worker then call('HSET', HOLDERS, about, worker) end
  note_wedge(worker)
end

local function line_up(about) put(about, WAITING, call('ZSCORE', ORDER, about)) end
local function hold(about, worker) put(about, HELD, stamp(now + asked.lease_s), worker) end

local function put_aside(about, failure, worker)
  put(about)
  call('HDEL', TOKENS, about)
  call('HSET', FAILURES, about, failure)
  call('SADD', ASIDE, about)
  call('HINCRBY', RUN, 'aside ' .. stage, 1)
  note('set aside', about, worker)
end

local function come_back(about, cause, most, failure, worker, back_off_s)
  local times = call('HINCRBY', TRIES, about .. ' ' .. cause, 1)
  if times >= most then return put_aside(about, failure, worker) end
  put(about, LATER, stamp(now + (back_off_s or 0) * 2 ^ (times - 1)))
  call('HSET', FAILURES, about, failure)
  note('came back', about, worker)
end

-- The token stays: if the worker lives after all, and nobody took the item, it may still finish.
local function lose(about, why)
  local worker = call('HGET', HOLDERS, about)
  come_back(about, 'process lost', asked.most_lost, cjson.encode({ cause = 'process lost',
    kind = 'ProcessLost', message = why, worker = worker }), worker)
end

local function give_back(about, worker)
  line_up(about)
  call('HINCRBY', TRIES, about .. ' begun', -1)
  note('given back', about, worker)
end

local function finish(state, reason)
  ended = true
  call('DEL', WAITING, LATER, HELD, HOLDERS, TOKENS)
  call('HSET', RUN, 'ended', stamp(now), 'state', state, 'reason', reason or '')
  call('ZREM', OPEN, name)
  call('ZREM', WEDGES, name)
  note_wedge()
  note('ended')
end

-- While nobody watches (PULSE is old) no lease ends: the server may just be back from a stop.
local function sweep()
  if now - tonumber(call('GET', PULSE) or now) > asked.lease_s / 2 then return end
  for _, about in ipairs(call('ZRANGEBYSCORE', HELD, '-inf', stamp(now))) do
    lose(about, 'the worker was not heard for a whole lease; it died, hung or lost the network')
  end
end

local function wanted()
  local control, hours, waits = unpack(call('HMGET', RUN, 'control', 'hours', 'waits'))
  hours = cjson.decode(hours or '{}')
  local early = now < (hours.not_before or 0)
  if control ~= 'run' or early or (waits or '') ~= '' then return false end
  if not hours.window then return true end
  local first, last, minute = hours.window[1], hours.window[2], math.floor(now / 60) % 1440
  if first <= last then return first <= minute and minute <= last end
  return first <= minute or minute <= last
end

-- The waiting item for a slot that had `last`: the one after it, so that a clip is decoded on; else
-- the first that nobody is on the way to, or the middle of the longest stretch someone is on.
local function choose(last)
  local at = tonumber(call('ZSCORE', ORDER, last) or 0)
  local near = call('ZRANGEBYSCORE', WAITING, at, at + 1)[1]
  if near or call('ZCARD', WAITING) == 0 then return near end
  local edges, most, rank = { 0, at, 2 ^ 53 }, 0, 0
  for _, about in ipairs(call('ZRANGE', HELD, 0, -1)) do
    table.insert(edges, tonumber(call('ZSCORE', ORDER, about)))
  end
  table.sort(edges)
  for index = 2, #edges do
    local from = edges[index - 1]
    local count, free = call('ZCOUNT', WAITING, from, edges[index]), from == 0 or from == at
    local merit = free and count > 0 and math.huge or count
    if merit > most then
      most, rank = merit, call('ZCOUNT', WAITING, 0, from) + (free and 0 or math.floor(count / 2))
    end
  end
  return call('ZRANGE', WAITING, rank, rank)[1]
end

local function newest()
  return not ended and tonumber(call('HGET', TOKENS, tag) or -1) == asked.token
end

local function state_of(about)
  return call('HEXISTS', RESULTS, about) == 1 and 'done'
    or call('SISMEMBER', ASIDE, about) == 1 and 'set aside'
    or call('HEXISTS', HOLDERS, about) == 1 and 'working' or 'waiting'
end

local function fill(into, items)
  for first = 1, #items, 1000 do
    local some = {}
    for index = first, math.min(first + 999, #items) do
      table.insert(some, place(into, index))
      table.insert(some, into .. '/' .. items[index])
    end
    call('ZADD', ORDER, unpack(some))
    call('ZADD', WAITING, unpack(some))
  end
  call('HSET', RUN, 'stage', into, 'total ' .. into, #items)
  stage = into
end

local function forget_tries(about)
  call('SREM', ASIDE, about)
  for _, of in ipairs({ 'begun', 'error', 'process lost', 'bad source' }) do
    call('HDEL', TRIES, about .. ' ' .. of)
  end
end

