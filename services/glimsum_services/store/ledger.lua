-- One call to the ledger, whole or not at all.
-- KEYS: keys.py, in its order. ARGV: verb, run, arguments as JSON.
-- Time is the server's alone, so that the clocks of the workers do not matter.
-- An item is named by its tag, "stage/item"; waiting, later and held hold the current stage only.
local RUN, ORDER, WAITING, LATER, HELD, HOLDERS, TOKENS, TRIES, RESULTS, FAILURES, ASIDE, OPEN,
  EVENTS, PULSE = unpack(KEYS)
local call = redis.call
local name, asked = ARGV[2], cjson.decode(ARGV[3])
local clock = call('TIME')
local now = tonumber(clock[1]) + tonumber(clock[2]) / 1e6
local stage, ended = call('HGET', RUN, 'stage'), call('HGET', RUN, 'ended')
local tag = asked.item and asked.stage .. '/' .. asked.item

local function stamp(time) return string.format('%.6f', time) end
local function place(of, index) return asked.places[of] * 2 ^ 32 + index end

local function note(kind, about, worker)
  local revision = call('HINCRBY', RUN, 'revision', 1)
  call('XADD', EVENTS, 'MAXLEN', '~', 100000, '*', 'kind', kind, 'run', name, 'revision', revision,
    'stage', stage, 'item', about and about:match('/(.*)$') or '', 'worker', worker or '')
end

local function rank() -- the most urgent first, among equals the oldest
  local urgency = 100 - call('HGET', RUN, 'priority')
  call('ZADD', OPEN, urgency * 1e10 + call('HGET', RUN, 'begun'), name)
end

local function let_go(about)
  call('ZREM', HELD, about)
  call('HDEL', HOLDERS, about)
end

local function unqueue(about)
  call('ZREM', WAITING, about)
  call('ZREM', LATER, about)
end

local function line_up(about) call('ZADD', WAITING, call('ZSCORE', ORDER, about), about) end

local function hold(about, worker)
  call('HSET', HOLDERS, about, worker)
  call('ZADD', HELD, stamp(now + asked.lease_s), about)
end

local function put_aside(about, failure, worker)
  let_go(about)
  unqueue(about)
  call('HDEL', TOKENS, about)
  call('HSET', FAILURES, about, failure)
  call('SADD', ASIDE, about)
  call('HINCRBY', RUN, 'aside ' .. stage, 1)
  note('set aside', about, worker)
end

local function come_back(about, cause, most, failure, worker, back_off_s)
  local times = call('HINCRBY', TRIES, about .. ' ' .. cause, 1)
  if times >= most then
    put_aside(about, failure, worker)
    return 'set aside'
  end
  let_go(about)
  call('HSET', FAILURES, about, failure)
  call('ZADD', LATER, stamp(now + (back_off_s or 0) * 2 ^ (times - 1)), about)
  note('came back', about, worker)
  return 'waiting'
end

-- The token stays: if the worker lives after all, and nobody took the item, it may still finish.
local function lose(about, why)
  local worker = call('HGET', HOLDERS, about)
  come_back(about, 'process lost', asked.most_lost, cjson.encode({ cause = 'process lost',
    kind = 'ProcessLost', message = why, worker = worker }), worker)
end

local function finish(state, reason)
  ended = true
  call('DEL', WAITING, LATER, HELD, HOLDERS, TOKENS)
  call('HSET', RUN, 'ended', stamp(now), 'state', state, 'reason', reason or '')
  call('ZREM', OPEN, name)
  note('ended')
end

local function settle()
  if stage and not ended and call('HGET', RUN, 'control') == 'cancel'
    and call('ZCARD', HELD) == 0 then finish('cancelled') end
end

-- While nobody watches (PULSE is old) no lease ends: the server may just be back from a stop.
local function sweep()
  if now - tonumber(call('GET', PULSE) or now) > asked.lease_s / 2 then return 0 end
  local over = call('ZRANGEBYSCORE', HELD, '-inf', stamp(now))
  for _, about in ipairs(over) do
    lose(about, 'the worker was not heard for a whole lease; it died, hung or lost the network')
  end
  return #over
end

local function wanted()
  local hours = cjson.decode(call('HGET', RUN, 'hours') or '{}')
  if call('HGET', RUN, 'control') ~= 'run' or now < (hours.not_before or 0) then return false end
  if not hours.window then return true end
  local first, last, minute = hours.window[1], hours.window[2], math.floor(now / 60) % 1440
  if first <= last then return first <= minute and minute <= last end
  return first <= minute or minute <= last
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
  for _, cause in ipairs({ 'begun', 'error', 'process lost', 'bad source' }) do
    call('HDEL', TRIES, about .. ' ' .. cause)
  end
end

local verbs = {}

function verbs.open()
  if stage then return end
  call('HSET', RUN, 'control', 'run', 'priority', asked.priority, 'begun', stamp(now))
  rank()
  fill(asked.stage, { asked.item })
  note('opened')
end

function verbs.claim()
  if not stage or ended then return end
  -- A repeated request, its answer lost on the way, gets the same claim again.
  local last = call('HGET', TRIES, 'asked by ' .. asked.worker) or ''
  local again = last:match('^' .. asked.request .. ' (.*)$')
  if again and call('HGET', HOLDERS, again) == asked.worker then
    local token, begun = call('HGET', TOKENS, again), call('HGET', TRIES, again .. ' begun')
    return { stage, again:match('/(.*)$'), tonumber(token), begun - 1 }
  end
  sweep()
  settle()
  for _, about in ipairs(call('ZRANGEBYSCORE', LATER, '-inf', stamp(now))) do
    call('ZREM', LATER, about)
    line_up(about)
  end
  local mine = false
  for _, of in ipairs(asked.stages) do mine = mine or of == stage end
  if not mine or not wanted() then return end
  local about = call('ZPOPMIN', WAITING)[1]
  if not about then return end
  local token = call('HINCRBY', RUN, 'token', 1)
  call('HSET', TOKENS, about, token)
  hold(about, asked.worker)
  call('HSET', TRIES, 'asked by ' .. asked.worker, asked.request .. ' ' .. about)
  note('taken', about, asked.worker)
  return { stage, about:match('/(.*)$'), token, call('HINCRBY', TRIES, about .. ' begun', 1) - 1 }
end

function verbs.beat()
  if not newest() then return end
  local holder = call('HGET', HOLDERS, tag)
  if holder and holder ~= asked.worker then return end
  if not holder then note('taken', tag, asked.worker) end -- lapsed, not retaken, still alive
  unqueue(tag)
  hold(tag, asked.worker)
  return call('HGET', RUN, 'control')
end

function verbs.done()
  local before = call('HGET', RESULTS, tag)
  if before then
    before = cjson.decode(before)
    if before.mark == asked.mark then
      return before.token == asked.token and 'recorded' or 'duplicate'
    end
    if call('HSETNX', TRIES, tag .. ' conflict ' .. asked.token, 1) == 1 then
      call('HINCRBY', RUN, 'conflicts', 1)
      note('conflict', tag, asked.worker)
    end
    return 'conflict'
  end
  if not newest() then return 'refused' end
  let_go(tag)
  unqueue(tag)
  call('HDEL', TOKENS, tag)
  call('HSET', RESULTS, tag, asked.record)
  call('HINCRBY', RUN, 'done ' .. stage, 1)
  note('done', tag, asked.worker)
  settle()
  return 'recorded'
end

function verbs.fail()
  if not newest() or not call('HGET', HOLDERS, tag) then return state_of(tag) end
  call('HDEL', TOKENS, tag)
  local state = come_back(tag, asked.cause, asked.most, asked.failure, asked.worker,
    asked.back_off_s)
  settle()
  return state
end

function verbs.give_back()
  if not newest() then return end
  call('HDEL', TOKENS, tag)
  if not call('HGET', HOLDERS, tag) then return end
  let_go(tag)
  line_up(tag)
  call('HINCRBY', TRIES, tag .. ' begun', -1)
  note('given back', tag, asked.worker)
  settle()
end

function verbs.release()
  local count = 0
  for _, about in ipairs(call('ZRANGE', HELD, 0, -1)) do
    local worker = call('HGET', HOLDERS, about)
    if worker == asked.worker or worker:sub(1, #asked.worker + 1) == asked.worker .. '/' then
      count = count + 1
      if asked.counted then
        lose(about, 'the process died with this item in its hands')
      else
        let_go(about)
        line_up(about)
        note('given back', about, worker)
      end
    end
  end
  settle()
  return count
end

function verbs.sweep()
  local count = sweep()
  settle()
  return count
end

function verbs.renew()
  for _, about in ipairs(call('ZRANGE', HELD, 0, -1)) do
    call('ZADD', HELD, stamp(now + asked.lease_s), about)
  end
end

function verbs.advance()
  local left = call('ZCARD', HELD) + call('ZCARD', WAITING) + call('ZCARD', LATER)
  if ended or stage ~= asked.stage or left > 0 then return 0 end
  if not asked.after then
    local remarks = call('SCARD', ASIDE) > 0 and 'done with remarks' or 'done'
    finish(asked['end'] or remarks)
    return 1
  end
  fill(asked.after, asked.items)
  for _, pair in ipairs(asked.aside) do
    local about = stage .. '/' .. pair[1]
    if not call('ZSCORE', ORDER, about) then
      call('ZADD', ORDER, place(stage, call('HINCRBY', RUN, 'total ' .. stage, 1)), about)
    end
    put_aside(about, pair[2])
  end
  note('stage')
  return 1
end

function verbs.set_aside()
  local state = state_of(tag)
  if ended or stage ~= asked.stage or state == 'done' or state == 'set aside' then return end
  if call('ZSCORE', ORDER, tag) then put_aside(tag, asked.failure) end
end

function verbs.retry()
  local state, found = call('HGET', RUN, 'state'), {}
  for _, about in ipairs(call('SMEMBERS', ASIDE)) do
    if about:match('^(.-)/') == asked.stage then table.insert(found, about) end
  end
  if #found == 0 or (ended and (state == 'cancelled' or state == 'refused')) then return 0 end
  local later = call('ZRANGEBYSCORE', ORDER, place(asked.stage, 2 ^ 32), '+inf')
  for _, about in ipairs(later) do
    let_go(about)
    unqueue(about)
    call('ZREM', ORDER, about)
    for _, key in ipairs({ RESULTS, FAILURES, TOKENS }) do call('HDEL', key, about) end
    forget_tries(about)
    local of = about:match('^(.-)/')
    call('HDEL', RUN, 'total ' .. of, 'done ' .. of, 'aside ' .. of)
  end
  for _, about in ipairs(found) do
    forget_tries(about)
    line_up(about)
  end
  stage = asked.stage
  call('HSET', RUN, 'stage', stage)
  call('HDEL', RUN, 'ended', 'state', 'reason', 'aside ' .. stage)
  rank()
  note('retried')
  return #found
end

verbs['end'] = function()
  if stage and not ended then finish(asked.state, asked.reason) end
end

function verbs.control()
  if not stage or ended then return 0 end
  call('HSET', RUN, 'control', asked.control)
  if asked.priority then
    call('HSET', RUN, 'priority', asked.priority)
    rank()
  end
  if asked.hours then call('HSET', RUN, 'hours', asked.hours) end
  note('control')
  settle()
  return 1
end

return verbs[ARGV[1]]()
