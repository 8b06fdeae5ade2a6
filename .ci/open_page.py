"""Start the installed command's demo, log in over HTTP as a visitor would, and open one page of each door."""

from __future__ import annotations

import re
import subprocess
import sys
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar

command = sys.argv[1]
process = subprocess.Popen([command, "demo", "--port", "0"], stdout=subprocess.PIPE, text=True)
try:
    address, logins = "", {}
    for line in process.stdout:
        if found := re.search(r"(http://127\.0\.0\.1:\d+)", line):
            address = found[1]
        if found := re.search(r"^\s*(\w+)\s+(\S+@\S+)\s+(\S.*\S)\s*$", line):
            logins[found[1]] = (found[2], found[3])
        if address and len(logins) == 5:
            break
    assert address and len(logins) == 5, f"the demo did not print its address and five log-ins: {logins}"
    for role, (email, password) in logins.items():
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        page = opener.open(f"{address}/log-in").read().decode()
        token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)[1]
        form = urllib.parse.urlencode({"csrf_token": token, "email": email, "password": password}).encode()
        answer = opener.open(f"{address}/log-in", data=form)
        body = answer.read().decode()
        assert answer.status == 200 and "log-in" not in answer.url, f"{role} could not log in"
        assert "<h1" in body, f"the {role}'s door has no heading"
        print(f"{role}: {answer.url}")
finally:
    process.terminate()
    process.wait(timeout=10)
