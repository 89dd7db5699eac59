import redis

from glimsum_services.store.requests import KEPT_S, Requests, Standing


def test_a_repeated_request_gets_the_first_answer(server: redis.Redis) -> None:
    requests = Requests(server)

    assert requests.begin("anna:1", "body").standing is Standing.NEW
    assert requests.begin("anna:1", "body").standing is Standing.IN_PROGRESS
    requests.finish("anna:1", "body", {"status": 201, "location": "/shots/mole_040"})
    again = requests.begin("anna:1", "body")

    assert again.standing is Standing.ANSWERED
    assert again.answer == {"status": 201, "location": "/shots/mole_040"}


def test_a_key_used_for_another_body_is_told(server: redis.Redis) -> None:
    requests = Requests(server)
    requests.begin("anna:1", "body")

    assert requests.begin("anna:1", "other").standing is Standing.OTHER_BODY
    assert requests.begin("bert:1", "other").standing is Standing.NEW


def test_a_failed_request_may_be_made_again(server: redis.Redis) -> None:
    requests = Requests(server)
    requests.begin("anna:1", "body")
    requests.forget("anna:1")

    assert requests.begin("anna:1", "body").standing is Standing.NEW


def test_an_answer_is_kept_for_a_day(server: redis.Redis) -> None:
    requests = Requests(server)
    requests.begin("anna:1", "body")
    requests.finish("anna:1", "body", {})

    assert KEPT_S - 5 < server.ttl("glimsum:request:anna:1") <= KEPT_S
