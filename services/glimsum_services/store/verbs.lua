-- The verbs of the ledger; moves.lua stands before this and holds what they share.
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
