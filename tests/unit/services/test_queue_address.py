"""The server's address as the queue's library takes it."""

import pytest

from glimsum_services.celery_app import queue_url


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("redis://:pw@farm/0", "redis://:pw@farm/0"),
        ("unix://:pw@/run/s?db=2", "redis+socket://:pw@/run/s?virtual_host=2"),
        ("unix:///run/s", "redis+socket:///run/s?virtual_host=0"),
        # Without the word the library looks at no certificate (kombu 5.7 says so in its log).
        ("rediss://:pw@farm/0", "rediss://:pw@farm/0?ssl_cert_reqs=required"),
        ("rediss://farm/0?ssl_ca_certs=a", "rediss://farm/0?ssl_ca_certs=a&ssl_cert_reqs=required"),
        ("rediss://farm/0?ssl_cert_reqs=none", "rediss://farm/0?ssl_cert_reqs=none"),
    ],
)
def test_an_address_is_written_as_the_queue_reads_it(ours: str, theirs: str) -> None:
    assert queue_url(ours) == theirs
