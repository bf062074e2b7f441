"""The network: clinics, lab, devices, users and everybody's token."""

import secrets

LABEL = "demo"
DAYS = 3653  # ten years
# In which order the accounts are told.
ROLES = ("desk", "prescriber", "lab", "device", "admin", "auditor")
# Without letters and digits that look alike.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def new_password():
    """16 characters of 31: 79 bits."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(4))
                    for _ in range(4))


def one_of(service, admin, path, fields, is_new):
    """The id of what has this name; made where there is none."""
    if not is_new:
        for item in service.items(admin, path):
            if item["name"] == fields["name"]:
                return item["id"]
    return service.call(admin, "POST", path, fields).body["id"]


def new_token(service, admin, **owner):
    """For a user or a device."""
    return service.call(admin, "POST", "/v1/tokens",
                        {**owner, "label": LABEL, "days": DAYS}).body["token"]


def drop_tokens(service, admin, device):
    """Those of a load that broke off; nobody knows them any more."""
    for token in service.items(admin, "/v1/tokens"):
        if token.get("device") == device and token.get("label") == LABEL and \
                "revoked_at" not in token:
            service.call(admin, "DELETE", f"/v1/tokens/{token['id']}")


def make_admin(service, command, scenario):
    """The administrator's account, with which all others are made."""
    network, user = scenario["network"]["name"], scenario["admin"]
    password = new_password()
    command.admin(network, user, password)
    session = service.call(None, "POST", "/v1/sessions", {
        "network": network, "user": user["name"], "password": password})
    token = session.body["token"]
    me = service.call(token, "GET", "/v1/me").body
    lasting = new_token(service, token, user=me["id"])
    service.call(token, "DELETE", "/v1/sessions/current")
    return {"role": "admin", "user": user["name"], "password": password,
            "token": lasting}


def make_network(service, admin, network):
    now = service.call(admin, "GET", "/v1/network")
    want = {"display": network["display"],
            "expiry_months": network["expiry_months"]}
    if any(now.body.get(name) != value for name, value in want.items()):
        service.call(admin, "PATCH", "/v1/network", want, match=now.etag)
    return now.body["created_at"]


def make_device(service, admin, device, clinic, is_new):
    made = one_of(service, admin, "/v1/devices",
                  {**device, "clinic": clinic,
                   "manufacturer": "Bench Instruments"}, is_new)
    if not is_new:
        drop_tokens(service, admin, made)
    return {"role": "device", "user": device["name"], "password": None,
            "token": new_token(service, admin, device=made)}


def make_user(service, admin, user, there):
    """A new password ends every token that the user had."""
    password = new_password()
    known = there.get(user["name"])
    if known:
        now = service.call(admin, "GET", f"/v1/users/{known}")
        service.call(admin, "PATCH", f"/v1/users/{known}",
                     {"password": password, "disabled": False},
                     match=now.etag)
    else:
        known = service.call(admin, "POST", "/v1/users",
                             {**user, "password": password}).body["id"]
    return {"role": user["role"], "user": user["name"], "password": password,
            "token": new_token(service, admin, user=known)}


def user_fields(user, clinics, lab, addresses):
    fields = {name: value for name, value in user.items() if name != "clinic"}
    if "clinic" in user:
        fields["clinic"] = clinics[user["clinic"]]
    if user["role"] == "lab":
        fields["lab"] = lab
    if user["role"] == "prescriber":
        fields["practice_address"] = addresses[user["clinic"]]
    return fields


def make(service, command, scenario, is_new):
    """{"accounts", "clinics", "zones", "lab", "created_at", "admin",
    "tokens": {(role, clinic key): token}}"""
    print("the network, its clinics and lab")
    accounts = [make_admin(service, command, scenario)]
    admin = accounts[0]["token"]
    created_at = make_network(service, admin, scenario["network"])
    places = scenario["clinics"]
    clinics = {key: one_of(service, admin, "/v1/clinics", fields, is_new)
               for key, fields in places.items()}
    lab = one_of(service, admin, "/v1/labs", scenario["lab"], is_new)
    print("users and devices")
    there = {} if is_new else {
        user["name"]: user["id"] for user in service.items(admin, "/v1/users")}
    addresses = {key: fields["address"] for key, fields in places.items()}
    tokens = {}
    for user in scenario["users"]:
        account = make_user(service, admin, user_fields(
            user, clinics, lab, addresses), there)
        tokens[user["role"], user.get("clinic")] = account["token"]
        accounts.append(account)
    for key, device in scenario["devices"].items():
        account = make_device(service, admin, device, clinics[key], is_new)
        tokens["device", key] = account["token"]
        accounts.append(account)
    accounts.sort(key=lambda account: ROLES.index(account["role"]))
    return {"accounts": accounts, "clinics": clinics, "lab": lab,
            "zones": {key: fields["time_zone"]
                      for key, fields in places.items()},
            "created_at": created_at, "tokens": tokens}
