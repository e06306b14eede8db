"""From pip's report of an installation (`pip install --report -`) to pins with hashes.

The format is that of requirements files, so that pip itself checks them:
`pip install --require-hashes --no-deps -r requirements.lock`.
"""

import json
import sys

report = json.load(sys.stdin)
where = report["environment"]
print("# The set that the tests were run with, each file by its hash; `make lock` writes it anew.")
print(f"# For Python {where['python_version']} on {where['platform_system']}, ", end="")
print(f"{where['platform_machine']}; elsewhere other files have other hashes.")
print("# pip install --require-hashes --no-deps -r requirements.lock")
for each in sorted(report["install"], key=lambda each: each["metadata"]["name"].lower()):
    archive = each["download_info"].get("archive_info")
    if archive:  # else the project itself
        pin = f"{each['metadata']['name']}=={each['metadata']['version']}"
        print(f"{pin} --hash=sha256:{archive['hashes']['sha256']}")
