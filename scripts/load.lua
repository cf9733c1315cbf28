-- Pace and addresses for wrk: twenty connections, each waiting 200 ms on average between its requests, make 100 a second.
local paths = {}

function init(args)
    for line in io.lines(args[1]) do paths[#paths + 1] = line end
    math.randomseed(os.time() + tonumber(tostring({}):match("0x(%x+)"), 16) % 100000)
end

function delay() return math.random(0, 400) end

function request() return wrk.format("GET", paths[math.random(#paths)]) end

function done(summary, latency)
    io.write(string.format("median %.1f ms, 99th percentile %.1f ms, worst %.1f ms, %d requests, %.0f a second, %d not answered well\n",
        latency:percentile(50) / 1000, latency:percentile(99) / 1000, latency.max / 1000, summary.requests,
        summary.requests / (summary.duration / 1e6), summary.errors.status + summary.errors.timeout + summary.errors.read + summary.errors.connect))
end
