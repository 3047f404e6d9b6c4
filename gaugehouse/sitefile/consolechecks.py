"""What the keys of [console] mean together."""

import ipaddress
import ssl

from gaugehouse.sitefile.draft import Draft


def check_console(draft: Draft) -> None:
    """Every mistake of the table."""
    table = draft.file.console
    if table is None:
        return
    for place, word in enumerate(table.proxies or ()):
        try:
            ipaddress.ip_address(word)
        except ValueError:
            text = f'"{word}" is no address; write the proxy\'s own, such as "127.0.0.1"'
            draft.report.error(f"console.proxies[{place}]", text, found=word)
    pair = {"certificate": table.certificate, "private_key": table.private_key}
    if all(name is None for name in pair.values()):
        return
    for key, name in pair.items():
        if name is None:
            other = next(key for key, given in pair.items() if given is not None)
            draft.report.error(f"console.{other}", f"is of use only with its other half; add {key}", found=pair[other])
            return
        if not (draft.folder / name).is_file():
            text = f'there is no file "{name}"; the path counts from the folder of the site file'
            draft.report.error(f"console.{key}", text, found=name)
            return
    try:
        tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        tls.load_cert_chain(draft.folder / str(table.certificate), draft.folder / str(table.private_key), password="")
    except (ssl.SSLError, OSError, ValueError) as error:
        why = error.reason if isinstance(error, ssl.SSLError) and error.reason else str(error)
        text = f"no certificate and key that belong together ({why}); both are PEM files, the key without a password"
        draft.report.error("console.certificate", text, found=table.certificate)
