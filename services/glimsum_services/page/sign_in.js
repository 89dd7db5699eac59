// Asks for a token where the service wants one, and hands it over for a cookie no script can read.

let asking = null;
let taken = 0; // tokens the service took

// Asks the service and returns its JSON; signs in first where it wants a token.
export async function askService(address) {
  const before = taken;
  const answer = await fetch(address, { headers: { Accept: "application/json" } });
  if (answer.status === 401) {
    if (taken === before) await signIn(); // else this answer is older than the token
    return askService(address);
  }
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.detail || String(answer.status));
  return body;
}

export function isSigningIn() {
  return asking !== null;
}

// Resolves when the service has taken a token.
function signIn() {
  if (asking) return asking;
  const form = document.createElement("form");
  form.className = "sign-in";
  const label = document.createElement("label");
  label.textContent = "Token of this service ";
  const field = document.createElement("input");
  field.type = "password";
  field.name = "token";
  field.autocomplete = "current-password";
  field.required = true;
  label.append(field);
  const button = document.createElement("button");
  button.textContent = "Open";
  const words = document.createElement("p");
  words.setAttribute("role", "status");
  words.textContent = "It is made where the service runs, with \u201cglimsum token make\u201d.";
  form.append(label, " ", button, words);
  document.querySelector("header").append(form);
  field.focus();
  asking = new Promise((resolve) => {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      try {
        const answer = await fetch("/session", {
          method: "POST",
          headers: { "Content-Type": "application/json" },
          body: JSON.stringify({ token: field.value.trim() }),
        });
        if (!answer.ok) throw new Error((await answer.json()).detail || String(answer.status));
        form.remove();
        asking = null;
        taken += 1;
        resolve();
      } catch (error) {
        words.textContent = error.message;
        field.select();
      }
    });
  });
  return asking;
}
