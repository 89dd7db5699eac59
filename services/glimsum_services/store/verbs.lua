-- The verbs of the ledger; moves.lua stands before this and holds what they share.
local verbs = {}

function verbs.open()
  if stage then return end
  call('HSET', RUN, 'control', 'run', 'priority', asked.priority, 'begun', stamp(now))
  fill(asked.stage, { asked.item })
  rank()
  note('opened')
end

function verbs.claim()
  if not stage or ended then return end
  local function answer(about)
    local tries = call('HGET', TRIES, about .. ' begun') - 1
    return { stage, about:match('/(.*)$'), tonumber(call('HGET', TOKENS, about)), tries }
  end
  -- A repeated request, its answer lost on the way, gets the same claim again.
  local before = call('HGET', TRIES, 'asked by ' .. asked.worker) or ' '
  local request, last = before:match('^(.-) (.*)$')
  local again = request == asked.request and call('HGET', HOLDERS, last) == asked.worker
  if again then return answer(last) end
  sweep()
  local mine = (table.concat(asked.stages, ' ') .. ' '):find(stage .. ' ', 1, true)
  if not mine or not wanted() or another_wedge() then return end
  local back = call('ZRANGEBYSCORE', LATER, '-inf', stamp(now), 'LIMIT', 0, 1)[1]
  local about = back or choose(last)
  if not about then return end
  hold(about, asked.worker)
  call('HSET', TOKENS, about, call('HINCRBY', RUN, 'token', 1))
  call('HINCRBY', TRIES, about .. ' begun', 1)
  call('HSET', TRIES, 'asked by ' .. asked.worker, asked.request .. ' ' .. about)
  note('taken', about, asked.worker)
  return answer(about)
end

function verbs.beat()
  local holder = call('HGET', HOLDERS, tag)
  if not newest() or (holder and holder ~= asked.worker) then return end
  if not holder then note('taken', tag, asked.worker) end -- lapsed, not retaken, still alive
  hold(tag, asked.worker)
  return call('HGET', RUN, 'control')
end

function verbs.done()
  local before = call('HGET', RESULTS, tag)
  before = before and cjson.decode(before)
  if not before then
    if not newest() then return 'refused' end
    put(tag)
    call('HDEL', TOKENS, tag)
    call('HSET', RESULTS, tag, asked.record)
    call('HINCRBY', RUN, 'done ' .. stage, 1)
    note('done', tag, asked.worker)
    return 'recorded'
  elseif before.mark == asked.mark then
    return before.token == asked.token and 'recorded' or 'duplicate'
  elseif call('HSETNX', TRIES, tag .. ' conflict ' .. asked.token, 1) == 1 then
    call('HINCRBY', RUN, 'conflicts', 1)
    note('conflict', tag, asked.worker)
  end
  return 'conflict'
end

function verbs.fail()
  if newest() and call('HDEL', TOKENS, tag) and call('HEXISTS', HOLDERS, tag) == 1 then
    come_back(tag, asked.cause, asked.most, asked.failure, asked.worker, asked.back_off_s)
  end
  return state_of(tag)
end

function verbs.give_back()
  if newest() and call('HDEL', TOKENS, tag) and call('HEXISTS', HOLDERS, tag) == 1 then
    give_back(tag, asked.worker)
  end
end

function verbs.release()
  local count = 0
  for _, about in ipairs(call('ZRANGE', HELD, 0, -1)) do
    local worker = call('HGET', HOLDERS, about)
    if (worker .. '/'):sub(1, #asked.worker + 1) == asked.worker .. '/' then
      count = count + 1
      if asked.counted then lose(about, asked.why) else give_back(about, worker) end
    end
  end
  return count
end

verbs.sweep = sweep

function verbs.pulse() -- of no run; 0 while leases of before must be renewed first
  local stale = math.abs(now - tonumber(call('GET', PULSE) or now)) > asked.lease_s / 2
  if stale and not asked.renewed then return 0 end
  call('SET', PULSE, stamp(now))
  return 1
end

function verbs.renew()
  for _, about in ipairs(call('ZRANGE', LATER, 0, -1)) do line_up(about) end
  for _, about in ipairs(call('ZRANGE', HELD, 0, -1)) do
    call('ZADD', HELD, stamp(now + asked.lease_s), about)
  end
end

function verbs.advance()
  local left = call('ZCARD', HELD) + call('ZCARD', WAITING) + call('ZCARD', LATER)
  if ended or stage ~= asked.stage or left > 0 then return 0 end
  if not asked.after then
    finish(asked['end'] or call('SCARD', ASIDE) > 0 and 'done with remarks' or 'done')
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

function verbs.retry()
  local state, found = call('HGET', RUN, 'state'), {}
  for _, about in ipairs(call('SMEMBERS', ASIDE)) do
    if about:match('^(.-)/') == asked.stage then table.insert(found, about) end
  end
  if #found == 0 or state == 'cancelled' or state == 'refused' then return 0 end
  for _, about in ipairs(call('ZRANGEBYSCORE', ORDER, place(asked.stage, 2 ^ 32), '+inf')) do
    put(about)
    for _, key in ipairs({ RESULTS, FAILURES, TOKENS }) do call('HDEL', key, about) end
    call('ZREM', ORDER, about)
    forget_tries(about)
    local of = about:match('^(.-)/')
    call('HDEL', RUN, 'total ' .. of, 'done ' .. of, 'aside ' .. of)
  end
  for _, about in ipairs(found) do
    forget_tries(about)
    line_up(about)
  end
  stage, ended = asked.stage, false
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
  for _, wish in ipairs({ 'control', 'priority', 'hours', 'waits' }) do
    if asked[wish] then call('HSET', RUN, wish, asked[wish]) end
  end
  rank()
  note('control')
  return 1
end

local answer = verbs[ARGV[1]]()
local cancelled = stage and not ended and call('HGET', RUN, 'control') == 'cancel'
if cancelled and call('ZCARD', HELD) == 0 then finish('cancelled') end
return answer
